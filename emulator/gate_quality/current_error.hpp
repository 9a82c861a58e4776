// The phase-current error that a jitter of the gate stamps makes on a given bench.
// Formula, validity and source: io/stamp_error.hpp. Two ends: a replay whose gates do not answer,
// and a controller whose current loop corrects what it sees.
#pragma once

#include "emulator/bench/bench.hpp"

namespace stillrotor {

struct ExpectedCurrentError {
  double open_loop_A = 0.0;    // rms, tau = L / R
  double closed_loop_A = 0.0;  // rms, tau = 1 / (2 pi crossover); 0: no current loop is stated
};

/// From the bench's bus, machine and controller.expects; 0 where the PWM frequency is not stated.
/// Salient machines: L as the error sees it, 1/L = (1/L_d + 1/L_q) / 2. R: winding and switches.
ExpectedCurrentError expected_current_error(const Bench&, double jitter_rms_s);

}  // namespace stillrotor
