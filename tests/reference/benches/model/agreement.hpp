// Plant and reference on random benches, and how far apart they may be.
#pragma once

#include "tests/reference/benches/model/callers.hpp"

namespace stillrotor::reference {

/// How long the plant's steps may be, and what that may cost. A dynamometer's angle is exact but
/// for rounding, and edges stand on the first picosecond; so do they where a rotor is free, within
/// what the plant's torque makes of its angle.
struct BenchSteps {
  double step_max_s;
  double free_angle_rad;  // electrical
  double share;           // of the largest current at a sensor, of the supply's voltage
};
/// Sensors take what they see for a straight line in a step, an error of the second order.
inline constexpr BenchSteps finest_steps{0.1e-6, 1e-7, 1e-4};
inline constexpr BenchSteps usual_steps{2e-6, 1e-7, 1e-3};

/// Runs cases [first, last), each asked in every manner, and reports every one that disagrees.
void expect_benches_agree(int first, int last, const BenchSteps&);

/// The same of drives that the reference does not know: who looks when may change nothing.
void expect_manners_agree(int first, int last, const BenchSteps&);

}  // namespace stillrotor::reference
