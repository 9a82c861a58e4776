#include "emulator/budget/quantities.hpp"

#include <fmt/format.h>

namespace stillrotor {

std::string hertz(double f) {
  if (f >= 1e6) return fmt::format("{:.3g} MHz", f * 1e-6);
  return f >= 1e3 ? fmt::format("{:.3g} kHz", f * 1e-3) : fmt::format("{:.3g} Hz", f);
}

std::string seconds(double t) {
  if (t < 1e-6) return fmt::format("{:.3g} ns", t * 1e9);
  return t < 1e-3 ? fmt::format("{:.3g} us", t * 1e6) : fmt::format("{:.3g} ms", t * 1e3);
}

}  // namespace stillrotor
