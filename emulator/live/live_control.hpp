// Between the thread that lets a person drive a run and the loop that runs it.
// Time    ps since the start of the run.
// Driver  one thread: start, pause, resume, step, stop; one action after the other, each taken or
//         told to be too late before the next is offered.
// Loop    one thread. Its side is RT-safe: no allocation, lock, log, throw or system call.
//         Proof: tests/emulator/cycle/real_time_test.cpp
// Anybody may read the phase and the times.
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <vector>

#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

enum class LivePhase : std::uint8_t {
  waiting,  // nothing has started, outputs safe
  running,
  paused,
  ended
};

class LiveControl {
 public:
  /// can_pause: in virtual time. Real wires do not wait.
  explicit LiveControl(bool can_pause) noexcept : can_pause_(can_pause) {}
  LiveControl(const LiveControl&) = delete;
  LiveControl& operator=(const LiveControl&) = delete;

  // Anybody.
  LivePhase phase() const noexcept { return phase_.load(std::memory_order_acquire); }
  bool can_pause() const noexcept { return can_pause_; }
  /// How far the loop is: in virtual time, plant or controller, whichever is ahead.
  std::int64_t now_ps() const noexcept { return now_ps_.load(std::memory_order_relaxed); }
  /// Where the run ends or has ended, once somebody has stopped it or its phase is ended; else -1.
  std::int64_t end_ps() const noexcept { return end_ps_.load(std::memory_order_acquire); }

  // The driver's side.
  void start() noexcept { started_.store(true, std::memory_order_release); }
  /// False: this run cannot.
  bool pause() noexcept;
  void resume() noexcept { hold_.store(false, std::memory_order_release); }
  /// While paused: on by so much, and paused again. Steps add up. False: not paused.
  bool step(std::int64_t by_ps) noexcept;
  /// Ends the run: in virtual time a few milliseconds of the run later, so that a run that is
  /// planned to end there is the same; on the wall clock at once.
  void stop() noexcept { stop_.store(true, std::memory_order_release); }

  enum class Answer : std::uint8_t { none, taken, late };
  /// A whole millisecond, which an action that is offered now will most likely not miss; no earlier
  /// than one that was offered before.
  std::int64_t earliest_ps() const noexcept;
  /// The action stays alive as long as this does. False: the last one has not been answered yet.
  bool offer(std::unique_ptr<const Action>);
  /// Of the action offered last; the loop also answers while it waits or is paused. late: it has
  /// not been and will not be done; offer another one for a later time.
  Answer answer() noexcept;

  // The loop's side.
  bool start_asked() const noexcept { return started_.load(std::memory_order_relaxed); }
  /// How far it is; no action before bound_ps can be taken any more.
  void publish(std::int64_t now_ps, std::int64_t bound_ps) noexcept {
    now_ps_.store(now_ps, std::memory_order_relaxed);
    bound_ps_.store(bound_ps, std::memory_order_relaxed);
  }
  /// Is an action there, to be accepted or refused?
  const Action* offered() const noexcept { return offered_.load(std::memory_order_acquire); }
  void answer(Answer) noexcept;
  bool stop_asked() const noexcept { return stop_.load(std::memory_order_relaxed); }
  bool hold_asked() const noexcept { return hold_.load(std::memory_order_relaxed); }
  /// What has been asked for since the last call.
  std::int64_t take_step_ps() noexcept { return step_ps_.exchange(0, std::memory_order_relaxed); }
  void say(LivePhase phase) noexcept { phase_.store(phase, std::memory_order_release); }
  /// The run will end, or has ended, here.
  void say_end(std::int64_t at_ps) noexcept { end_ps_.store(at_ps, std::memory_order_release); }

 private:
  const bool can_pause_;
  std::atomic<LivePhase> phase_{LivePhase::waiting};
  std::atomic<std::int64_t> now_ps_{0}, bound_ps_{0}, end_ps_{-1};
  std::atomic<bool> started_{false}, hold_{false}, stop_{false};
  std::atomic<std::int64_t> step_ps_{0};

  std::atomic<const Action*> offered_{nullptr};
  std::atomic<Answer> answer_{Answer::none};
  std::vector<std::unique_ptr<const Action>> given_;  // the driver's
  std::int64_t last_ps_ = 0;                          // of them; a later one is no earlier
  std::int64_t margin_ps_ = 5'000'000'000;            // grows where it was too small
};

}  // namespace stillrotor
