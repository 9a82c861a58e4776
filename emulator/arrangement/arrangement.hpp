// Which phase goes where, and which Hall: all 36 arrangements of a controller whose commutation has
// been measured, on an ideal machine.
//
// Machine e_k = -trapezoid(theta_e - 120 deg k), flat for 120 deg; Hall k is on while theta_e -
//         spacing k lies in [-90, 90) deg (docs/notation.md).
// Torque  sum of e_k times the leg's drive, relative to the best arrangement; positive drives
//         forward.
// Counts  of a six-step table on Halls at 120 deg: 3 forward, 3 reverse, 12 at half torque, 18
//         whose mean is zero. Derived: even permutations turn the table by 120 deg and odd ones
//         mirror it; cos 60 deg is a half, and mirrored against unmirrored has no mean.
#pragma once

#include <array>
#include <string>
#include <vector>

namespace stillrotor {

/// How a leg is driven, -1 to 1: 1 towards the bus, -1 towards ground, 0 not at all.
using LegDrive = std::array<double, 3>;
/// By the Hall code U + 2 V + 4 W at the controller; a code that drives nothing: zeros.
using Commutation = std::array<LegDrive, 8>;

enum class Turning : unsigned char { forward, reverse, half, none, odd };

struct Arrangement {
  std::array<int, 3> phases{};  // machine's phase at the controller's leg U, V, W
  std::array<int, 3> halls{};   // machine's Hall at the controller's input U, V, W
  double mean = 0.0;            // torque, relative to the best one's mean
  double least = 0.0, greatest = 0.0;
  Turning turning = Turning::none;

  int moved() const noexcept;  // wires that are not at their place
};

/// Machine's Hall codes while it turns forward, a sector of 60 deg each, the first about theta 0.
std::array<int, 6> hall_codes(double spacing_rad);
/// The two codes that no position of it gives.
std::array<int, 2> codes_without_position(double spacing_rad);

/// The first is how it is wired: everything at its place. All means 0: nothing drives.
std::array<Arrangement, 36> arrangements(const Commutation&, double spacing_rad);
/// Of a kind, those with fewer moved wires first, and of as many the ones that move Halls only.
std::vector<Arrangement> of_kind(const std::array<Arrangement, 36>&, Turning);
/// 3, 3, 12 and 18.
bool like_six_steps(const std::array<Arrangement, 36>&);

/// "exchange Hall U and Hall V", "nothing to move"
std::string moves(const Arrangement&);

}  // namespace stillrotor
