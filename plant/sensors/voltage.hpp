// Voltage through a divider: volts = ratio * v, behind a first-order RC filter, clipped. Volts to
// the negative rail. RT: safe. O(1).
#pragma once

#include <algorithm>

namespace stillrotor::plant {

struct VoltageSensorParameters {
  bool fitted = false;
  double ratio = 0.05;                           // 0 < ratio <= 1
  double filter_s = 0.0;                         // R C; 0: none, else 0.1 us to 1 s
  double low_limit_V = 0.0, high_limit_V = 5.0;  // of the input or its clamp

  bool filtered() const noexcept { return fitted && filter_s > 0.0; }
};

constexpr double voltage_sense_V(const VoltageSensorParameters& par, double v_V) noexcept {
  return std::clamp(par.ratio * v_V, par.low_limit_V, par.high_limit_V);
}

}  // namespace stillrotor::plant
