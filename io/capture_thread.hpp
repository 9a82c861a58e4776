// The thread that takes edges in, where it is wanted and as urgent as it is wanted.
#pragma once

#include <atomic>
#include <functional>
#include <thread>

#include "io/wired_settings.hpp"

namespace stillrotor::io {

class RunningCapture {
 public:
  RunningCapture() = default;
  ~RunningCapture() { stop(); }
  RunningCapture(const RunningCapture&) = delete;
  RunningCapture& operator=(const RunningCapture&) = delete;

  /// `capture` runs until stopping(). Throws ConfigError where core or priority cannot be had.
  void start(const CaptureThread&, std::function<void()> capture);
  void stop() noexcept;
  bool stopping() const noexcept { return stop_.load(std::memory_order_relaxed); }

 private:
  std::atomic<bool> stop_{false};
  std::thread thread_;
};

/// CLOCK_MONOTONIC. RT: safe, no system call where the kernel maps its clock.
std::int64_t monotonic_ns() noexcept;

}  // namespace stillrotor::io
