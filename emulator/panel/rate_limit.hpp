// So many messages a second, some more at once.
#pragma once

#include <algorithm>
#include <chrono>

namespace stillrotor {

class RateLimit {
 public:
  using Time = std::chrono::steady_clock::time_point;
  RateLimit(double per_s, double at_once) : per_s_(per_s), at_once_(at_once), left_(at_once) {}

  /// False: one too many.
  bool take(Time now) {
    if (seen_)
      left_ =
          std::min(at_once_, left_ + per_s_ * std::chrono::duration<double>(now - last_).count());
    seen_ = true;
    last_ = now;
    if (left_ < 1.0) return false;
    left_ -= 1.0;
    return true;
  }

 private:
  double per_s_, at_once_, left_;
  bool seen_ = false;
  Time last_{};
};

}  // namespace stillrotor
