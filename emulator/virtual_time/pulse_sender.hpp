// Sends the command pulse: rises at each whole multiple of its period, exact to the picosecond.
// Width that of the throttle's position as the pulse begins, kept within idle and full.
// Off   no pulse begins; one that has begun ends in its time.
// RT: no allocation, lock, log or throw.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "emulator/bench/command_pulse.hpp"

namespace stillrotor {

class PulseSender {
 public:
  explicit PulseSender(const CommandPulse& pulse) noexcept
      : period_ps_(to_ps(pulse.period_s)), pulse_(pulse), rise_ps_(period_ps_) {}

  void send(bool on) noexcept { sends_ = on; }
  bool high() const noexcept { return high_; }
  /// When it has to be attended to next.
  std::int64_t next_ps() const noexcept { return high_ ? fall_ps_ : rise_ps_; }
  /// What is due at next_ps(). position: 0 the throttle at rest, 1 fully open.
  void attend(double position) noexcept {
    if (high_) {
      high_ = false;
      return;
    }
    high_ = sends_;
    const double share = std::clamp(position, 0.0, 1.0);
    fall_ps_ = rise_ps_ + to_ps(pulse_.idle_s + share * (pulse_.full_s - pulse_.idle_s));
    rise_ps_ += period_ps_;
  }

 private:
  static std::int64_t to_ps(double s) noexcept { return std::llround(s * 1e12); }

  std::int64_t period_ps_;
  CommandPulse pulse_;
  std::int64_t rise_ps_, fall_ps_ = 0;
  bool sends_ = true, high_ = false;
};

}  // namespace stillrotor
