#include "io/analog/bus_thread.hpp"

#include <pthread.h>
#include <sched.h>
#include <time.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <future>

#include "io/connector.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t second_ns = 1'000'000'000;

}  // namespace

void Doorbell::wait(std::int64_t most_ns) noexcept {
  const std::int64_t until_ns = monotonic_ns() + most_ns;
  const timespec until{until_ns / second_ns, until_ns % second_ns};
  while (sem_clockwait(&bell_, CLOCK_MONOTONIC, &until) != 0 && errno == EINTR) continue;
  while (sem_trywait(&bell_) == 0) continue;
}

void BusTally::add(int error, std::int64_t took_ns) noexcept {
  constexpr auto relaxed = std::memory_order_relaxed;
  transfers.fetch_add(1, relaxed);
  longest_ns.store(std::max(longest_ns.load(relaxed), took_ns), relaxed);
  if (error == 0) return;
  failed.fetch_add(1, relaxed);
  latest_error.store(error, relaxed);
}

std::thread start_bus_thread(BusSeat seat, std::function<void()> run) {
  // It takes its seat before it begins, so that the caller hears of a refusal.
  std::promise<int> answer;
  std::future<int> seated = answer.get_future();
  std::thread thread([answer = std::move(answer), seat, run = std::move(run)]() mutable {
    int error = 0;
    if (seat.core >= 0) {
      cpu_set_t cores;
      CPU_ZERO(&cores);
      CPU_SET(static_cast<std::size_t>(seat.core), &cores);
      error = pthread_setaffinity_np(pthread_self(), sizeof cores, &cores);
    }
    if (error == 0 && seat.priority > 0) {
      const sched_param rank{.sched_priority = seat.priority};
      error = pthread_setschedparam(pthread_self(), SCHED_FIFO, &rank);
    }
    answer.set_value(error);
    if (error == 0) run();
  });
  const int refused = seated.get();
  if (refused == 0) return thread;
  thread.join();
  throw ConfigError("converters.priority",
                    "the bus thread gets neither SCHED_FIFO " + std::to_string(seat.priority) +
                        " nor core " + std::to_string(seat.core) + ": " + std::strerror(refused) +
                        ". Raise the limit rtprio for your user and name a core that exists, or "
                        "write converters.priority: 0 and leave converters.core out.");
}

}  // namespace stillrotor::io
