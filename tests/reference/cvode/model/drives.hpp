// Gate edges of two small drives of the tests' own, recorded on the plant and then replayed on both
// sides: the comparison sees only the edges.
#pragma once

#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

struct FieldOriented {
  double i_q_A = 20.0, pwm_Hz = 20e3, dead_time_s = 1e-6, bandwidth_Hz = 1000.0;
};
/// Current control by two PI regulators and centre-aligned PWM with min-max injection; samples and
/// updates once a period, voltage turned on by 1.5 periods. Fills e.edges for this time.
void record_field_oriented(Experiment& e, const FieldOriented&, double duration_s);

struct SixStep {
  double duty = 0.5, pwm_Hz = 16e3;
};
/// Six-step by the true angle: low switch steady, high switch chopped, third leg floating; diodes
/// freewheel. Fills e.edges for this time.
void record_six_step(Experiment& e, const SixStep&, double duration_s);

/// Sample instants every `spacing_s`, moved off the PWM grid.
void sample_every(Experiment& e, double spacing_s, double duration_s);

}  // namespace stillrotor::reference
