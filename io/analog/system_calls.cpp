#include "io/analog/system_calls.hpp"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cerrno>

namespace stillrotor::io {
namespace {

class Linux final : public SystemCalls {
  static int result(int returned) noexcept { return returned < 0 ? -errno : returned; }

 public:
  int open(const char* path) noexcept override { return result(::open(path, O_RDWR | O_CLOEXEC)); }
  int ioctl(int file, unsigned long request, void* argument) noexcept override {
    return result(::ioctl(file, request, argument));
  }
  void close(int file) noexcept override { ::close(file); }
};

}  // namespace

SystemCalls& real_system_calls() noexcept {
  static Linux calls;
  return calls;
}

}  // namespace stillrotor::io
