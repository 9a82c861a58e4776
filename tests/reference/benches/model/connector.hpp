// What a bench shows at its connector: the common tongue of plant and reference.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "plant/drive.hpp"

namespace stillrotor::reference {

inline constexpr int channel_count = static_cast<int>(plant::SensorChannel::star_point) + 1;

struct LineEdge {
  std::int64_t at_ps = 0;
  plant::SensorLine line = plant::SensorLine::hall_U;
  bool high = false;
  // How the electrical angle moves there; of the reference: seconds after at_ps.
  double omega_e = 0.0, alpha_e = 0.0, after_s = 0.0;
};

struct Reading {
  std::int64_t at_ps = 0;
  std::array<double, channel_count> volts = {};
  std::array<double, plant::temperature_node_count> temperature_C = {};
  double housing_C = 0.0;
  std::array<double, 3> line_A = {};  // peaks for tolerances
  double bus_V = 0.0;
};

/// Levels that nobody looked at.
inline constexpr std::uint16_t unseen = 0x100;

struct Shown {
  std::vector<LineEdge> edges;        // in the order in which they came
  std::vector<std::uint16_t> levels;  // before each moment: bit k is SensorLine k
  std::vector<Reading> readings;
  // The largest currents at the sensors; of the plant, when read.
  std::array<double, 3> most_phase_A = {};
  double most_dc_link_A = 0.0;
  long undecided = 0;  // reference: times at which rounding decides what is seen
  long breaches = 0;   // plant: edges in a time that was promised quiet
  long accidents = 0;  // plant: see Drive::Health
};

}  // namespace stillrotor::reference
