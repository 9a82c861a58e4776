#include "emulator/judge/wording.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <numbers>

namespace stillrotor {

std::string number_text(double value, int digits) {
  std::array<char, 40> text{};
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value,
                                 std::chars_format::general, digits)
                       .ptr;
  return {text.data(), end};
}

std::string quantity_text(double value, std::string_view unit, int digits) {
  if (unit == "1") return number_text(value, digits);
  const double size = std::fabs(value);
  if (unit == "s" && size > 0.0 && size < 1.0) {
    if (size >= 1e-3) return number_text(value * 1e3, digits) + " ms";
    if (size >= 1e-6) return number_text(value * 1e6, digits) + " us";
    if (size >= 1e-9) return number_text(value * 1e9, digits) + " ns";
    return number_text(value * 1e12, digits) + " ps";
  }
  // People at a drive read speeds in turns a minute; results keep SI.
  if (unit == "rad/s") return number_text(value * 60.0 / (2.0 * std::numbers::pi), digits) + " rpm";
  if (unit == "Hz" && size >= 1e3) return number_text(value * 1e-3, digits) + " kHz";
  return number_text(value, digits) + " " + std::string(unit);
}

}  // namespace stillrotor
