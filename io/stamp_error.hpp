// What errors of gate edges' stamps cost in phase current, wherever edges are replayed into a
// plant. Each phase voltage takes the errors of two edges a period and leg, V_dc sigma each as a
// volt-second step, shared 2/3, 1/3, 1/3 over the legs; the circuit forgets them with tau.
//   delta_i = (2 / sqrt 3) (V_dc sigma / L) sqrt(f_s tau / 2)
// Valid  errors that are independent from edge to edge and well below the dead time; windings in
//        star, L per phase.   Source  derived; held against the plant in
//        tests/emulator/gate_quality/current_error_test.cpp.
#pragma once

#include <cmath>

namespace stillrotor::io {

/// Rms [A] of each phase current's error. sigma_s: rms of a stamp's error.
inline double stamp_current_error_A(double bus_V, double sigma_s, double inductance_H,
                                    double pwm_frequency_Hz, double tau_s) noexcept {
  return 2.0 / std::sqrt(3.0) * (bus_V * sigma_s / inductance_H) *
         std::sqrt(pwm_frequency_Hz * tau_s / 2.0);
}

}  // namespace stillrotor::io
