// The line on whose pulse all channels of a converter take over together: one line of a GPIO
// character device, by the kernel's own interface (linux/gpio.h, version 2, Linux 5.10 on).
// A pulse is as short as two system calls allow, 1 us and more; parts ask for some 20 ns.
// Errors open() throws ConfigError; pulse() returns 0 or errno.
#pragma once

#include <string>

#include "io/analog/config.hpp"
#include "io/analog/system_calls.hpp"

namespace stillrotor::io {

class LatchPulse {
 public:
  LatchPulse(SystemCalls& calls, LatchLine line, std::string setting)
      : calls_(calls), line_(std::move(line)), setting_(std::move(setting)) {}
  ~LatchPulse() { close(); }
  LatchPulse(const LatchPulse&) = delete;
  LatchPulse& operator=(const LatchPulse&) = delete;

  void open();  // the line rests
  int pulse() noexcept;
  void close() noexcept;

 private:
  SystemCalls& calls_;
  LatchLine line_;
  std::string setting_;
  int file_ = -1;
};

}  // namespace stillrotor::io
