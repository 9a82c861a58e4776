#include "io/capture_thread.hpp"

#include <pthread.h>
#include <sched.h>

#include <cstring>
#include <ctime>
#include <string>

#include "io/connector.hpp"

namespace stillrotor::io {
namespace {

int bind(pthread_t thread, int core) noexcept {
  cpu_set_t cores;
  CPU_ZERO(&cores);
  CPU_SET(static_cast<unsigned>(core), &cores);
  return pthread_setaffinity_np(thread, sizeof cores, &cores);
}

int hurry(pthread_t thread, int priority) noexcept {
  sched_param how{};
  how.sched_priority = priority;
  return pthread_setschedparam(thread, SCHED_FIFO, &how);
}

}  // namespace

void RunningCapture::start(const CaptureThread& wanted, std::function<void()> capture) {
  stop_ = false;
  thread_ = std::thread(std::move(capture));
  if (wanted.core >= 0)
    if (const int error = bind(thread_.native_handle(), wanted.core); error != 0) {
      stop();
      throw ConfigError("controller.capture_core",
                        "controller.capture_core is " + std::to_string(wanted.core) +
                            "; this process may not run there (" + std::strerror(error) +
                            "). `lscpu -e` shows the cores that are online.");
    }
  if (wanted.priority > 0)
    if (const int error = hurry(thread_.native_handle(), wanted.priority); error != 0) {
      stop();
      throw ConfigError("controller.capture_priority",
                        "controller.capture_priority is " + std::to_string(wanted.priority) +
                            "; this user may not ask for it (" + std::strerror(error) +
                            "). Allow it (ulimit -r, CAP_SYS_NICE), or write 0 and accept that "
                            "edges may be lost; losses are found and counted.");
    }
}

void RunningCapture::stop() noexcept {
  stop_ = true;
  if (thread_.joinable()) thread_.join();
}

std::int64_t monotonic_ns() noexcept {
  timespec now{};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return now.tv_sec * 1'000'000'000LL + now.tv_nsec;
}

}  // namespace stillrotor::io
