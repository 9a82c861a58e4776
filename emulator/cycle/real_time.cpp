#include "emulator/cycle/real_time.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <malloc.h>
#include <pthread.h>
#include <sched.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <string_view>
#include <thread>

#include "emulator/bench/highest_priority.hpp"

namespace stillrotor {
namespace {

constexpr std::int64_t second_ns = 1'000'000'000;
constexpr std::size_t stack_touched = 256 * 1024;

int set_priority(int priority) noexcept {
  sched_param wanted{};
  wanted.sched_priority = priority;
  return pthread_setschedparam(pthread_self(), SCHED_FIFO, &wanted);
}

int set_core(int core) noexcept {
  if (core < 0) return 0;
  if (core >= CPU_SETSIZE) return EINVAL;
  cpu_set_t set;
  CPU_ZERO(&set);
  CPU_SET(core, &set);
  return pthread_setaffinity_np(pthread_self(), sizeof set, &set);
}

std::string limit_text(rlim_t limit) {
  return limit == RLIM_INFINITY ? "unlimited" : std::to_string(limit);
}

std::string granted(int resource) {
  rlimit limit{};
  getrlimit(static_cast<__rlimit_resource>(resource), &limit);
  return limit_text(limit.rlim_cur);
}

std::string remedy(std::string_view limit, std::string_view value, std::string_view unit_key,
                   std::string_view unit_value) {
  return fmt::format(
      "Put \"YOUR_USER - {} {}\" into /etc/security/limits.d/stillrotor.conf and log in again; "
      "under systemd write {}={} into the unit; or grant it to the program: setcap "
      "cap_sys_nice,cap_ipc_lock+ep stillrotor. To run without, and have the record say so: "
      "--allow-soft.",
      limit, value, unit_key, unit_value);
}

}  // namespace

std::vector<MissingRight> missing_rights(const Seat& seat) {
  std::vector<MissingRight> missing;
  const int highest = seat.priority + 1;  // the watchdog's
  int no_priority = 0, no_core = 0;
  std::thread([&] {
    no_core = set_core(seat.core);
    no_priority = set_priority(highest);
  }).join();
  const std::string limit = std::to_string(highest_priority);
  if (no_priority != 0)
    missing.push_back({fmt::format("SCHED_FIFO priority {} is not granted ({}; the limit rtprio is "
                                   "{}).",
                                   highest, std::strerror(no_priority), granted(RLIMIT_RTPRIO)),
                       remedy("rtprio", limit, "LimitRTPRIO", limit)});
  if (no_core != 0)
    missing.push_back(
        {fmt::format("Core {} cannot be used ({}).", seat.core, std::strerror(no_core)),
         fmt::format("Set cycle.core to one of this computer's {}, or leave it out.",
                     std::thread::hardware_concurrency())});
  if (mlockall(MCL_CURRENT | MCL_FUTURE) != 0)
    missing.push_back({fmt::format("Memory cannot be locked ({}; the limit memlock is {} bytes, "
                                   "wanted unlimited).",
                                   std::strerror(errno), granted(RLIMIT_MEMLOCK)),
                       remedy("memlock", "unlimited", "LimitMEMLOCK", "infinity")});
  // What was freed stays, and nothing is mapped anew: a page once touched is never touched first
  // again.
  mallopt(M_TRIM_THRESHOLD, -1);
  mallopt(M_MMAP_MAX, 0);
  return missing;
}

void unlock_memory() noexcept { munlockall(); }

void leave_core(int core) noexcept {
  cpu_set_t set;
  if (core < 0 || core >= CPU_SETSIZE ||
      pthread_getaffinity_np(pthread_self(), sizeof set, &set) != 0)
    return;
  CPU_CLR(static_cast<std::size_t>(core), &set);
  if (CPU_COUNT(&set) > 0) pthread_setaffinity_np(pthread_self(), sizeof set, &set);
}

void take_seat(const Seat& seat) noexcept {
  set_core(seat.core);
  set_priority(seat.priority);
  volatile char stack[stack_touched];
  for (std::size_t k = 0; k < sizeof stack; k += 1024) stack[k] = 0;
}

ShortIdle::ShortIdle() noexcept : file_(open("/dev/cpu_dma_latency", O_WRONLY | O_CLOEXEC)) {
  const std::int32_t most_us = 0;
  if (file_ < 0 || write(file_, &most_us, sizeof most_us) == sizeof most_us) return;
  close(file_);
  file_ = -1;
}

ShortIdle::~ShortIdle() {
  if (file_ >= 0) close(file_);
}

std::int64_t MonotonicClock::now_ns() noexcept {
  timespec now{};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return now.tv_sec * second_ns + now.tv_nsec;
}

void MonotonicClock::sleep_until(std::int64_t ns) noexcept {
  const std::int64_t wake = ns - spin_ns_;
  const timespec at{wake / second_ns, wake % second_ns};
  while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, nullptr) == EINTR) {
  }
  if (spin_ns_ > 0)
    while (now_ns() < ns) {
    }
}

ThreadUse thread_use() noexcept {
  rusage use{};
  getrusage(RUSAGE_THREAD, &use);
  const auto seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  return {use.ru_minflt, use.ru_majflt, use.ru_nvcsw, use.ru_nivcsw,
          seconds(use.ru_utime) + seconds(use.ru_stime)};
}

ThreadUse operator-(const ThreadUse& to, const ThreadUse& from) noexcept {
  return {to.minor_faults - from.minor_faults, to.major_faults - from.major_faults,
          to.voluntary_switches - from.voluntary_switches,
          to.involuntary_switches - from.involuntary_switches, to.cpu_s - from.cpu_s};
}

}  // namespace stillrotor
