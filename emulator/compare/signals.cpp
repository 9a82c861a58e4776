#include "emulator/compare/signals.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>

#include "emulator/judge/wording.hpp"
#include "emulator/record/edge_stream.hpp"
#include "emulator/record/record_reader.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

/// Grid points first_a, first_b and on, as many in both.
struct Stretch {
  std::size_t first_a = 0, first_b = 0, count = 0;
};

std::size_t point_at(const RecordReader& record, double at_s) {
  const double place = std::floor(at_s * record.rate_Hz() + 1e-6);
  return std::min(static_cast<std::size_t>(std::max(0.0, place)), record.frames());
}

/// From the start and from each cause that both runs know, up to the next in either.
std::vector<Stretch> aligned(const RunDigest& a, const RecordReader& in_a, const RunDigest& b,
                             const RecordReader& in_b) {
  std::vector<std::pair<std::size_t, std::size_t>> begins{{0, 0}};
  for (const DigestedEvent& one : a.events) {
    if (one.kind != DigestedEvent::Kind::cause) continue;
    const auto twin =
        std::find_if(b.events.begin(), b.events.end(), [&one](const DigestedEvent& other) {
          return other.kind == DigestedEvent::Kind::cause && other.key == one.key;
        });
    if (twin == b.events.end()) continue;
    const std::pair begin{point_at(in_a, one.at_s), point_at(in_b, twin->at_s)};
    if (begin.first >= begins.back().first && begin.second >= begins.back().second)
      begins.push_back(begin);
  }
  begins.emplace_back(in_a.frames(), in_b.frames());
  std::vector<Stretch> stretches;
  for (std::size_t k = 0; k + 1 < begins.size(); ++k) {
    const std::size_t count =
        std::min(begins[k + 1].first - begins[k].first, begins[k + 1].second - begins[k].second);
    if (count > 0) stretches.push_back({begins[k].first, begins[k].second, count});
  }
  return stretches;
}

bool same_bits(const std::vector<float>& a, const std::vector<float>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](float x, float y) {
    return std::bit_cast<std::uint32_t>(x) == std::bit_cast<std::uint32_t>(y);
  });
}

bool same_edges(const RecordReader& a, const RecordReader& b, std::uint16_t line) {
  EdgeStream left(a, line), right(b, line);
  for (; !left.done() && !right.done(); left.step(), right.step())
    if (left.at_ps() != right.at_ps() || left.level() != right.level()) return false;
  return left.done() && right.done();
}

/// Of runs that are the same at the grid's points: whether they are between them too.
bool same_in_between(const RecordReader& a, const RecordReader& b) {
  if (a.frames() != b.frames()) return false;
  for (std::size_t k = 0; k < spread_count; ++k) {
    const auto signal = static_cast<Signal>(k);
    if (!same_bits(a.least(signal, 0, a.frames()), b.least(signal, 0, b.frames())) ||
        !same_bits(a.greatest(signal, 0, a.frames()), b.greatest(signal, 0, b.frames())))
      return false;
  }
  for (std::uint16_t line = 0; line < io::line_count; ++line)
    if (!same_edges(a, b, line)) return false;
  return true;
}

}  // namespace

std::vector<Change> different_signals(const RunDigest& before, const RunDigest& after) {
  std::vector<Change> changes;
  const bool both_summed = !before.signals_xxh128.empty() && !after.signals_xxh128.empty();
  if (both_summed && before.signals_xxh128 == after.signals_xxh128) return changes;
  const RecordReader a(before.folder), b(after.folder);
  if (a.rate_Hz() != b.rate_Hz()) {
    changes.push_back(
        {1.0, fmt::format("the grids differ: {} and {}", quantity_text(a.rate_Hz(), "Hz"),
                          quantity_text(b.rate_Hz(), "Hz"))});
    return changes;
  }
  const std::vector<Stretch> stretches = aligned(before, a, after, b);
  for (std::size_t k = 0; k < signal_count; ++k) {
    const auto signal = static_cast<Signal>(k);
    const bool angle = signal == Signal::angle_e;
    double largest = 0.0, size = 0.0, at_s = 0.0;
    for (const Stretch& one : stretches) {
      const auto left = a.values(signal, one.first_a, one.count);
      const auto right = b.values(signal, one.first_b, one.count);
      for (std::size_t n = 0; n < one.count; ++n) {
        const double x = double{left[n]}, y = double{right[n]};
        if (std::isnan(x) && std::isnan(y)) continue;
        double off = std::fabs(angle ? std::remainder(y - x, 2.0 * M_PI) : y - x);
        if (std::isnan(off)) off = HUGE_VAL;
        size = std::max({size, std::fabs(x), std::fabs(y)});
        if (off <= largest) continue;
        largest = off;
        at_s = static_cast<double>(one.first_b + n + 1) / b.rate_Hz();
      }
    }
    if (largest <= 0.0) continue;
    const SignalInfo& info = signal_table[k];
    changes.push_back(
        {size > 0.0 ? largest / size : 1.0,
         fmt::format("{}: by up to {}, at {} of the second run", info.name,
                     quantity_text(largest, info.unit, 4), quantity_text(at_s, "s"))});
  }
  if (changes.empty() && !both_summed && same_in_between(a, b)) return changes;
  if (changes.empty())
    changes.push_back(
        {0.0, a.frames() != b.frames()
                  ? fmt::format("the second run lasts {} in place of {}",
                                quantity_text(b.end_s(), "s"), quantity_text(a.end_s(), "s"))
                  : std::string("at the grid's points all are the same; extremes "
                                "between them or edges of lines differ")});
  std::stable_sort(changes.begin(), changes.end(),
                   [](const Change& x, const Change& y) { return x.size > y.size; });
  return changes;
}

}  // namespace stillrotor
