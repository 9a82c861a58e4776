// The run against the wall clock: word to people about ten times a second, real time where a person
// wants to watch, and the wish to stop. Nothing here changes what the run computes.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>

namespace stillrotor {

class WallPace {
 public:
  WallPace(bool real_time, const std::atomic<bool>* stop, std::function<void(std::int64_t)> tell)
      : real_time_(real_time), stop_(stop), tell_(std::move(tell)) {}

  /// Called all the time; true: stop here.
  bool passes(std::int64_t model_ps) {
    if (++calls_ % calls_per_look != 0 && !real_time_) return false;
    return look(model_ps);
  }
  /// So long somebody has held the run: its time goes on where it was.
  void stood_still(std::chrono::steady_clock::duration for_so_long) noexcept {
    begin_ += for_so_long;
  }
  /// Without what it was held.
  double wall_s() const noexcept {
    return std::chrono::duration<double>(Clock::now() - begin_).count();
  }

 private:
  using Clock = std::chrono::steady_clock;
  static constexpr unsigned calls_per_look = 128;

  bool look(std::int64_t model_ps);
  bool stopped() const noexcept {
    return stop_ != nullptr && stop_->load(std::memory_order_relaxed);
  }

  bool real_time_;
  const std::atomic<bool>* stop_;
  std::function<void(std::int64_t)> tell_;
  Clock::time_point begin_ = Clock::now(), told_ = begin_;
  unsigned calls_ = 0;
};

}  // namespace stillrotor
