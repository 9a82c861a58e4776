// The measures of two runs of one scenario beside each other, the largest difference first.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "emulator/judge/judge.hpp"

namespace stillrotor {

struct MeasuredTwice {
  std::string name;  // "torque_ripple, 9.5 s to 12 s, phase U"; a whole run's by its name alone
  std::string_view unit;
  Measurement one, other;

  /// Both could be measured.
  bool defined() const noexcept { return one.undefined.empty() && other.undefined.empty(); }
  double difference() const noexcept { return other.value - one.value; }
  /// Difference against the larger of the two magnitudes, 0 to 2; 3: only one is defined; 0:
  /// neither.
  double rank() const noexcept;
};

/// Limits' measures over their windows and every measure over the whole run, by rank(). Both
/// judgements are of the same scenario.
std::vector<MeasuredTwice> side_by_side(const Judgement& one, const Judgement& other);

}  // namespace stillrotor
