// What the operating system has to grant a real-time loop, and the loop's clock.
// Errors missing_rights() says what is not granted and who grants it; nothing here throws.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "emulator/cycle/cycle.hpp"

namespace stillrotor {

/// SCHED_FIFO priority and core of a thread; core -1: any.
struct Seat {
  int priority = 80;
  int core = -1;
};

struct MissingRight {
  std::string what, remedy;  // sentences
};
/// Locks the process's memory, present and future, and tries the seat, and that of the watchdog one
/// above it. Empty: all is granted.
std::vector<MissingRight> missing_rights(const Seat&);
void unlock_memory() noexcept;

/// The calling thread takes its seat, as far as it is granted, and touches the stack it will need.
void take_seat(const Seat&) noexcept;

/// The calling thread, and threads that it starts, keep off a core that is the cycle's (-1: none),
/// where there is another one: so nothing that records, compresses or waits for a bus sits beside
/// it.
void leave_core(int core) noexcept;

/// While it lives, cores do not sink into idle states that are slow to leave, where the system lets
/// us ask for that (/dev/cpu_dma_latency).
class ShortIdle {
 public:
  ShortIdle() noexcept;
  ~ShortIdle();
  ShortIdle(const ShortIdle&) = delete;
  ShortIdle& operator=(const ShortIdle&) = delete;
  bool granted() const noexcept { return file_ >= 0; }

 private:
  int file_;
};

/// CLOCK_MONOTONIC; sleeps to `spin_ns` before a deadline and stays awake for the rest.
class MonotonicClock final : public CycleClock {
 public:
  explicit MonotonicClock(std::int64_t spin_ns = 0) noexcept : spin_ns_(spin_ns) {}
  std::int64_t now_ns() noexcept override;
  void sleep_until(std::int64_t ns) noexcept override;

 private:
  std::int64_t spin_ns_;
};

/// Of the calling thread since its start.
struct ThreadUse {
  std::int64_t minor_faults = 0, major_faults = 0;
  std::int64_t voluntary_switches = 0, involuntary_switches = 0;
  double cpu_s = 0.0;
};
ThreadUse thread_use() noexcept;
ThreadUse operator-(const ThreadUse& to, const ThreadUse& from) noexcept;

}  // namespace stillrotor
