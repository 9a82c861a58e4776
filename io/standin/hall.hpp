// Three Hall lines to a sector of the electrical turn, and the six-step commutation table.
//
// Lines   line k is high while theta_e - k * spacing lies in [-90, +90) degrees.
// Sector  s = 0..5 is centred at s * 60 degrees and 60 degrees wide.
// Table   with e_k = -omega_e * psi * sin(theta_e - k * 120 deg), positive torque at positive speed
//         wants current into the leg whose -sin is largest over the sector and out of the one whose
//         is smallest. Derived; the test derives it a second time by search.
// RT      safe, O(1).
#pragma once

#include <array>
#include <cstdint>

namespace stillrotor::io::standin {

struct HallWiring {
  double spacing_deg = 120.0;  // 120 or 60
  unsigned permutation = 0;    // 0 UVW, 1 UWV, 2 VUW, 3 VWU, 4 WUV, 5 WVU: connector line that
                               // serves as U, V, W
  bool inverted = false;
};

inline constexpr int no_sector = -1;  // a code that no rotor position gives

/// Levels of the connector's lines U, V, W to a sector.
constexpr int hall_sector(bool u, bool v, bool w, const HallWiring& wiring) noexcept {
  constexpr int order[6][3] = {{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}};
  const bool lines[3] = {u != wiring.inverted, v != wiring.inverted, w != wiring.inverted};
  const int* take = order[wiring.permutation];
  bool U = lines[take[0]], V = lines[take[1]], W = lines[take[2]];
  if (wiring.spacing_deg == 60.0) {  // the 120-degree W is the 60-degree V, upside down
    const bool v60 = V;
    V = W;
    W = !v60;
  }
  constexpr int sector_of[8] = {no_sector, 0, 2, 1, 4, 5, 3, no_sector};  // by U + 2 V + 4 W
  return sector_of[(U ? 1 : 0) + (V ? 2 : 0) + (W ? 4 : 0)];
}

struct Commutation {
  int high, low;  // leg whose high switch is chopped, leg whose low switch is on
};

/// The two conducting legs for torque in the given direction (+1 or -1).
constexpr Commutation commutation(int sector, int direction) noexcept {
  constexpr Commutation forward[6] = {{1, 2}, {1, 0}, {2, 0}, {2, 1}, {0, 1}, {0, 2}};
  const Commutation c = forward[sector];
  return direction >= 0 ? c : Commutation{c.low, c.high};
}

/// Where two neighbouring sectors meet [rad electrical].
constexpr double sector_border_rad(int from, int to) noexcept {
  constexpr double sixth = 1.04719755119659774615;  // 60 degrees
  return (to == (from + 1) % 6 ? from + 0.5 : from - 0.5) * sixth;
}
constexpr bool neighbours(int a, int b) noexcept { return (a + 1) % 6 == b || (b + 1) % 6 == a; }
constexpr double sector_centre_rad(int sector) noexcept { return sector * 1.04719755119659774615; }

}  // namespace stillrotor::io::standin
