// Numbers by lot, the same on every machine: no distribution of the standard library is used.
#pragma once

#include <cmath>
#include <cstdint>
#include <random>

#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : engine_(seed) {}
  double unit() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }
  double linear(double low, double high) { return low + (high - low) * unit(); }
  double logarithmic(double low, double high) { return low * std::pow(high / low, unit()); }
  bool chance(double probability) { return unit() < probability; }
  int whole(int low, int high) { return low + static_cast<int>(unit() * (high - low + 1)); }

 private:
  std::mt19937_64 engine_;
};

/// Of every drawn run.
inline constexpr double drawn_s = 2e-3;

/// A moment between two shares of it [ps].
inline std::int64_t at_some_time(Draw& draw, double from, double to) {
  return ps(drawn_s * draw.linear(from, to));
}

}  // namespace stillrotor::reference
