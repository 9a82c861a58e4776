// What every thread of a bus shares: its start, its doorbell, its counts.
#pragma once

#include <semaphore.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <string>
#include <thread>

#include "io/capture_thread.hpp"

namespace stillrotor::io {

/// Wakes a thread. RT: ring() is safe: one system call, only where somebody sleeps.
class Doorbell {
 public:
  Doorbell() noexcept { sem_init(&bell_, 0, 0); }
  ~Doorbell() { sem_destroy(&bell_); }
  Doorbell(const Doorbell&) = delete;
  Doorbell& operator=(const Doorbell&) = delete;

  void ring() noexcept { sem_post(&bell_); }
  /// Until it rings or so long has passed; one ring or many are the same.
  void wait(std::int64_t most_ns) noexcept;

 private:
  sem_t bell_;
};

/// Since open(). RT: safe from any thread.
struct BusTally {
  std::atomic<std::uint64_t> transfers{0}, failed{0};
  std::atomic<std::int64_t> longest_ns{0};
  std::atomic<int> latest_error{0};  // errno

  void add(int error, std::int64_t took_ns) noexcept;
};

struct BusSeat {
  int priority = 0, core = -1;
};
/// Runs it on a thread of its own. Throws ConfigError where priority or core are not granted.
std::thread start_bus_thread(BusSeat, std::function<void()> run);

}  // namespace stillrotor::io
