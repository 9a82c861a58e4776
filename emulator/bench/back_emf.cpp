#include "emulator/bench/back_emf.hpp"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <numbers>

#include "emulator/bench/units.hpp"

namespace stillrotor {
namespace {

double line_to_line(const std::vector<plant::BackEmfHarmonic>& shape, double theta) {
  constexpr double lag = 2.0 * std::numbers::pi / 3.0;
  double sum = 0.0;
  for (const auto& [order, ratio] : shape)
    sum += ratio * (std::sin(order * (theta - lag)) - std::sin(order * theta));
  return std::abs(sum);
}

}  // namespace

double line_to_line_peak_ratio(const std::vector<plant::BackEmfHarmonic>& shape) {
  constexpr int points = 720;  // over half a turn: odd harmonics repeat with the other sign
  constexpr double step = std::numbers::pi / points;
  double at = 0.0;
  for (int k = 1; k < points; ++k)
    if (line_to_line(shape, k * step) > line_to_line(shape, at)) at = k * step;
  double low = at - step, high = at + step;
  for (int k = 0; k < 40; ++k) {
    const double inner = (high - low) / std::numbers::phi;
    if (line_to_line(shape, high - inner) > line_to_line(shape, low + inner))
      high = low + inner;
    else
      low = high - inner;
  }
  return line_to_line(shape, 0.5 * (low + high));
}

std::vector<plant::BackEmfHarmonic> read_harmonics(std::string_view text, std::string& problem) {
  std::vector<plant::BackEmfHarmonic> shape{{1, 1.0}};
  while (!text.empty()) {
    const std::string_view pair = text.substr(0, text.find(','));
    text.remove_prefix(std::min(pair.size() + 1, text.size()));
    const std::size_t colon = pair.find(':');
    const std::string_view left = pair.substr(std::min(pair.find_first_not_of(" {"), pair.size()));
    int order = 0;
    const auto [rest, error] = std::from_chars(left.data(), left.data() + left.size(), order);
    if (colon == std::string_view::npos || error != std::errc{} || rest != pair.data() + colon ||
        order < 3 || order > 99 || order % 2 == 0) {
      problem = fmt::format("\"{}\" is no pair of an odd order, 3 to 99, and a ratio", pair);
      return shape;
    }
    std::string_view right = pair.substr(colon + 1);
    if (right.ends_with('}')) right.remove_suffix(1);
    const Conversion ratio = to_si(right, Family::ratio);
    if (!ratio || std::abs(ratio.si) > 1.0) {
      problem = fmt::format("the ratio of order {} is \"{}\"; allowed -1 to 1", order, right);
      return shape;
    }
    for (const auto& before : shape)
      if (before.order == order) {
        problem = fmt::format("order {} appears twice", order);
        return shape;
      }
    shape.push_back({order, ratio.si});
  }
  return shape;
}

}  // namespace stillrotor
