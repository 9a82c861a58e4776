// A magnetising branch in closed form, i = psi / L (1 + (psi / psi_knee)^6), and its table.
#pragma once

#include <cmath>

#include "plant/machine/induction.hpp"

namespace stillrotor::reference {

/// Of the 3 hp machine at 220 V, 60 Hz: 0.47 Wb at no load, which needs 1.46 times the current that
/// a straight branch would. Invented, of the shape that the trade shows.
struct ClosedBranch {
  double inductance_H = 26.13 / (2.0 * plant::pi * 60.0), knee_Wb = 0.53;
  double current_A(double psi_Wb) const {
    return psi_Wb / inductance_H * (1.0 + std::pow(psi_Wb / knee_Wb, 6));
  }
};

inline plant::InductionParameters saturating(plant::InductionParameters p, int points) {
  const ClosedBranch branch;
  p.magnetising_inductance_H = 0.0;
  for (int k = 1; k <= points; ++k) {
    const double psi = 1.0 * k / points;
    p.magnetising_curve.push_back({branch.current_A(psi), psi});
  }
  return p;
}

}  // namespace stillrotor::reference
