// A second pair of eyes: makes the outputs safe when the cycle has not come round for too long,
// also while it hangs inside a write. A frozen kernel freezes this thread too: an external
// retriggerable watchdog, fed by the kick line, is for that (docs/real-time.md).
#pragma once

#include <atomic>
#include <cstdint>
#include <thread>

#include "emulator/cycle/cycle.hpp"
#include "emulator/cycle/real_time.hpp"
#include "io/wired.hpp"

namespace stillrotor {

/// Has the heart stood still for longer than allowed? Without a clock, for tests.
class HeartbeatWatch {
 public:
  HeartbeatWatch(std::int64_t most_ns, std::int64_t now_ns) noexcept
      : most_ns_(most_ns), seen_ns_(now_ns) {}

  bool overdue(std::int64_t now_ns, std::uint64_t beats) noexcept {
    if (beats != beats_) {
      beats_ = beats;
      seen_ns_ = now_ns;
    }
    return now_ns - seen_ns_ > most_ns_;
  }

 private:
  std::int64_t most_ns_, seen_ns_;
  std::uint64_t beats_ = 0;
};

class Watchdog {
 public:
  /// Watches from the cycle's beginning on; controller and window outlive it.
  Watchdog(io::WiredController&, CycleWindow&, std::int64_t most_ns, Seat);
  ~Watchdog();  // stops watching

 private:
  void watch(std::int64_t most_ns, Seat) noexcept;

  io::WiredController& controller_;
  CycleWindow& window_;
  std::atomic<bool> done_{false};
  std::thread thread_;
};

}  // namespace stillrotor
