// Permanent-magnet synchronous machine, star-connected, three-wire, unsaturated, equal phases.
// Any back-EMF shape as harmonics of the magnet flux linkage; saliency as L_d, L_q.
//   psi_U(theta) = flux_linkage * sum_n (h_n / n) cos(n theta),   e_U = d psi_U / dt, so
//   e_U = -omega_e * flux_linkage * sum_n h_n sin(n theta),        h_1 = 1.
// V and W lag by 120 and 240 electrical degrees. Even and triplen orders: even ones are refused,
// triplen ones are accepted and drive no current (star); they cancel in every measured potential.
// Units  ohm, H, Wb (peak, per phase, fundamental).
#pragma once

#include <vector>

namespace stillrotor::plant {

struct BackEmfHarmonic {
  int order = 1;       // odd, 1 to 99
  double ratio = 1.0;  // h_n, relative to the fundamental of the back-EMF; signed
};

struct PermanentMagnetParameters {
  int pole_pairs = 4;                     // 1 to 64
  double winding_resistance_ohm = 0.05;   // per phase, > 0
  double inductance_d_H = 150e-6;         // > 0
  double inductance_q_H = 150e-6;         // > 0
  double flux_linkage_Wb = 12e-3;         // > 0, fundamental, peak, per phase
  std::vector<BackEmfHarmonic> back_emf;  // empty: sine; else must hold order 1 with ratio 1
};

/// Harmonics of a trapezoid with the given flat top (electrical degrees, 0 < flat < 180), odd
/// orders up to max_order, ratios relative to its fundamental.
std::vector<BackEmfHarmonic> trapezoid_harmonics(double flat_top_deg, int max_order);

/// Flat-top height over fundamental amplitude of that trapezoid (0.8225 for 120 degrees).
double trapezoid_flat_over_fundamental(double flat_top_deg);

}  // namespace stillrotor::plant
