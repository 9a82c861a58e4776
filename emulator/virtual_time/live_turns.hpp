// A person at a run in virtual time: start, pause, single steps, the end, and what is done in
// between. The loop only stands still for it; nothing here changes what the run computes. Time  ps
// since the start of the run.
#pragma once

#include <atomic>
#include <cstdint>

#include "emulator/live/live_control.hpp"
#include "emulator/virtual_time/wall_pace.hpp"
#include "emulator/virtual_time/world.hpp"

namespace stillrotor {

class LiveTurns {
 public:
  /// decided_ps: so far beyond its present the loop decides at once, at most.
  /// stop: as RunOptions::stop, also heard while the loop stands.
  LiveTurns(LiveControl& live, BenchWorld& world, WallPace& pace, const std::atomic<bool>* stop,
            std::int64_t decided_ps, std::int64_t lasts_ps)
      : live_(live),
        world_(world),
        pace_(pace),
        stop_(stop),
        decided_ps_(decided_ps),
        lasts_ps_(lasts_ps),
        end_ps_(lasts_ps) {}
  /// Whatever ended it.
  ~LiveTurns();
  LiveTurns(const LiveTurns&) = delete;
  LiveTurns& operator=(const LiveTurns&) = delete;

  /// Until somebody starts the run. False: it has been stopped instead.
  bool await_start();

  /// Between any two things that the loop does. present_ps: of plant and controller the later one.
  void attend(std::int64_t present_ps) {
    take_in(present_ps);
    if (live_.stop_asked() && !ends_) end_soon(present_ps);
    if (live_.hold_asked() || held_) stand(present_ps);
  }

  /// Where the run ends: earlier than planned once it has been stopped.
  std::int64_t end_ps() const noexcept { return end_ps_; }
  bool stopped() const noexcept { return end_ps_ < lasts_ps_; }

 private:
  void take_in(std::int64_t present_ps) noexcept {
    live_.publish(present_ps, present_ps + decided_ps_);
    world_.attend(live_, present_ps + decided_ps_);
  }
  void end_soon(std::int64_t present_ps);
  void stand(std::int64_t present_ps);
  bool interrupted() const noexcept {
    return stop_ != nullptr && stop_->load(std::memory_order_relaxed);
  }

  LiveControl& live_;
  BenchWorld& world_;
  WallPace& pace_;
  const std::atomic<bool>* stop_;
  std::int64_t decided_ps_, lasts_ps_, end_ps_;
  bool held_ = false, ends_ = false;
  std::int64_t step_to_ps_ = 0;  // while held: it may go on to there
};

}  // namespace stillrotor
