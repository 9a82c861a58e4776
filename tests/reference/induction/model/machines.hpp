// Machines of known parameters.
// Source  P. C. Krause, "Analysis of Electric Machinery", table of induction machine parameters:
//         four poles, 60 Hz, reactances at 60 Hz. The numbers are written down from memory.
#pragma once

#include "plant/frames.hpp"
#include "plant/machine/induction.hpp"

namespace stillrotor::reference {

struct KnownMachine {
  const char* name;
  double power_hp, line_to_line_V, rated_rpm;
  double r_s_ohm, x_ls_ohm, x_m_ohm, x_lr_ohm, r_r_ohm, inertia_kg_m2;

  static constexpr double frequency_Hz = 60.0;
  plant::InductionParameters parameters() const {
    const double per_H = plant::two_pi * frequency_Hz;
    return {.pole_pairs = 2,
            .stator_resistance_ohm = r_s_ohm,
            .stator_leakage_H = x_ls_ohm / per_H,
            .rotor_resistance_ohm = r_r_ohm,
            .rotor_leakage_H = x_lr_ohm / per_H,
            .magnetising_inductance_H = x_m_ohm / per_H};
  }
};

inline constexpr KnownMachine known_machines[] = {
    {"Hp3", 3, 220, 1710, 0.435, 0.754, 26.13, 0.754, 0.816, 0.089},
    {"Hp50", 50, 460, 1705, 0.087, 0.302, 13.08, 0.302, 0.228, 1.662},
    {"Hp500", 500, 2300, 1773, 0.262, 1.206, 54.02, 1.206, 0.187, 11.06},
    {"Hp2250", 2250, 2300, 1786, 0.029, 0.226, 13.04, 0.226, 0.022, 63.87},
};

}  // namespace stillrotor::reference
