// The system calls that buses and latch lines are made of. A seam for tests, which record them.
// Result >= 0, or -errno.
#pragma once

namespace stillrotor::io {

class SystemCalls {
 public:
  virtual ~SystemCalls() = default;
  virtual int open(const char* path) noexcept = 0;  // for reading and writing
  virtual int ioctl(int file, unsigned long request, void* argument) noexcept = 0;
  virtual void close(int file) noexcept = 0;
};

/// Those of this computer.
SystemCalls& real_system_calls() noexcept;

}  // namespace stillrotor::io
