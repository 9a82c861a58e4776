// A throttle's voltage to a request, with the two things a throttle can do wrong: stand open when
// the key is turned, and lose a wire.
// RT: safe, O(1).
#pragma once

#include <algorithm>

#include "io/standin/config.hpp"

namespace stillrotor::io::standin {

class Throttle {
 public:
  static constexpr double rest = 0.02;  // below it nothing is asked for

  explicit Throttle(const StandinScaling& s) noexcept
      : zero_V_(s.throttle_zero_V),
        full_V_(s.throttle_full_V),
        low_fault_V_(s.throttle_low_fault_V),
        high_fault_V_(s.throttle_high_fault_V) {}

  /// One reading; call once a millisecond.
  void read(double volts) noexcept {
    volts_ = volts;
    plausible_ = volts >= low_fault_V_ && volts <= high_fault_V_;
    implausible_readings_ = plausible_ ? 0 : std::min(implausible_readings_ + 1, readings_to_break);
    request_ = plausible_ ? std::clamp((volts - zero_V_) / (full_V_ - zero_V_), 0.0, 1.0) : 0.0;
  }

  double volts() const noexcept { return volts_; }
  /// 0 to 1; 0 from the first implausible reading on.
  double request() const noexcept { return request_; }
  bool at_rest() const noexcept { return plausible_ && request_ < rest; }
  /// Out of its range for five readings in a row.
  bool broken() const noexcept { return implausible_readings_ == readings_to_break; }

 private:
  static constexpr int readings_to_break = 5;
  double zero_V_, full_V_, low_fault_V_, high_fault_V_;
  double volts_ = 0.0, request_ = 0.0;
  bool plausible_ = false;
  int implausible_readings_ = 0;
};

}  // namespace stillrotor::io::standin
