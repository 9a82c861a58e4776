// How far the cart has come: its speed summed up by trapezoids, from one look to the next.
// Units m.  Sign forward positive.  Error per second of driving: jerk * condition_grid^2 / 12, far
// below a micrometre for anything on wheels.
// RT: no allocation, lock, log or throw.
#pragma once

#include <cstdint>

namespace stillrotor {

class Odometer {
 public:
  void pass(std::int64_t now_ps, double speed_m_s) noexcept {
    distance_m_ += 0.5 * (speed_m_s_ + speed_m_s) * static_cast<double>(now_ps - at_ps_) * 1e-12;
    at_ps_ = now_ps;
    speed_m_s_ = speed_m_s;
  }
  double distance_m() const noexcept { return distance_m_; }

 private:
  std::int64_t at_ps_ = 0;
  double speed_m_s_ = 0.0;
  double distance_m_ = 0.0;
};

}  // namespace stillrotor
