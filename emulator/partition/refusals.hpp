// What the co-processor's plant lacks of a bench.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/bench.hpp"

namespace stillrotor {

class Refusals {
 public:
  explicit Refusals(const Bench& bench) : bench_(bench) {}

  /// allowed and remedy: sentences' parts as in "allowed 0 s. Put an RC filter there."
  void unless(bool fits, std::string_view path, std::string_view allowed, std::string_view remedy);
  /// A complaint of io/link/coprocessor/host, which names a quantity but no path.
  void pass_on(std::string_view complaint);
  /// Throws InputError where there was any.
  void throw_if_any() const;

 private:
  std::string where(std::string_view path) const;

  const Bench& bench_;
  std::vector<std::string> messages_;
};

/// Everything but the number format's ranges, which the conversion itself knows.
void refuse_what_the_chip_lacks(const Bench&, Refusals&);

/// Longest lag of a sensor that passes as none: a computed step shows its value one to two steps
/// late in any case.
inline constexpr double sensor_lag_allowed_s = 5e-6;

}  // namespace stillrotor
