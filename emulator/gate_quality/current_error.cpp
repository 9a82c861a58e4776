#include "emulator/gate_quality/current_error.hpp"

#include <algorithm>
#include <numbers>

#include "io/stamp_error.hpp"
#include "plant/machine/induction.hpp"

namespace stillrotor {

ExpectedCurrentError expected_current_error(const Bench& bench, double jitter_rms_s) {
  const double pwm_Hz = bench.expects.pwm_frequency_Hz;
  if (!(pwm_Hz > 0.0)) return {};
  const auto star = plant::equivalent_star(bench.drive.machine);
  double inductance_H = 2.0 / (1.0 / star.inductance_d_H + 1.0 / star.inductance_q_H);
  double resistance_ohm = star.winding_resistance_ohm;
  if (bench.drive.induction) {
    const plant::InductionMachine machine(*bench.drive.induction);
    inductance_H = machine.inductance_min_H();
    resistance_ohm = machine.transient_ohm();
  }
  resistance_ohm += bench.drive.bridge.switch_on_resistance_ohm;
  const auto error_A = [&](double tau_s) {
    return io::stamp_current_error_A(bench.drive.supply.voltage_V, jitter_rms_s, inductance_H,
                                     pwm_Hz, tau_s);
  };
  ExpectedCurrentError error;
  const double open_tau_s = inductance_H / resistance_ohm;
  error.open_loop_A = error_A(open_tau_s);
  if (const double loop_Hz = bench.expects.current_loop_Hz; loop_Hz > 0.0)
    error.closed_loop_A = error_A(std::min(open_tau_s, 1.0 / (2.0 * std::numbers::pi * loop_Hz)));
  return error;
}

}  // namespace stillrotor
