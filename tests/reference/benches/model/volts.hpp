// What the channels show, by the words of the sensors' headers, of quantities that are given.
#pragma once

#include "tests/reference/benches/model/connector.hpp"

namespace stillrotor::reference {

struct Sensed {
  std::int64_t at_ps = 0;
  std::array<double, 3> phase_output_A = {};  // behind their lags
  double dc_link_output_A = 0.0;
  double bus_V = 0.0;                     // behind the filter, where there is one
  std::array<double, 3> terminal_V = {};  // as well
  double theta_m = 0.0;
  std::array<double, 2> sin_cos_shift_rad = {};
  std::array<double, plant::temperature_node_count> temperature_C = {};
};

std::array<double, channel_count> volts(const plant::DriveParameters&, const Sensed&);

}  // namespace stillrotor::reference
