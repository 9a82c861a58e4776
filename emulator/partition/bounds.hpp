// By how much two plants may differ that compute the same: the bench's own and the co-processor's,
// from one report to the next, on the same gate edges. README.md derives the terms.
// Units SI.  RT: all safe, O(1).
#pragma once

#include "emulator/bench/bench.hpp"
#include "io/link/settings.hpp"

namespace stillrotor {

class Bounds {
 public:
  Bounds(const Bench&, const io::LinkSettings&);

  /// Of a phase current, the largest of which this is, at the last report or at this one. The
  /// chip's angle was off by so much at both; all mechanical.
  double current_A(double angle_before_rad, double angle_rad, double omega_m_rad_s,
                   double current_A) const noexcept;
  double bus_V(double current_bound_A) const noexcept {
    return bus_V_ + per_A_ohm_ * current_bound_A;
  }
  double angle_rad() const noexcept { return angle_rad_; }
  /// A current that may be nothing but resolution.
  double none_below_A() const noexcept { return none_below_A_; }

 private:
  double rounded_A_, of_current_, held_A_, stamps_A_, per_rad_A_, per_rad_of_current_;
  double interval_s_, straight_A_, straight_of_current_;  // per rad^2 turned in an interval
  double bus_V_, per_A_ohm_, angle_rad_, none_below_A_;
};

}  // namespace stillrotor
