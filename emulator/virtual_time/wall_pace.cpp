#include "emulator/virtual_time/wall_pace.hpp"

#include <algorithm>
#include <thread>

namespace stillrotor {
namespace {

using namespace std::chrono_literals;
constexpr auto tell_every = 100ms;
constexpr auto sleep_most = 20ms;  // so that a wish to stop is heard
constexpr auto ahead_most = 2ms;   // of the wall clock, before it is worth a sleep

}  // namespace

bool WallPace::look(std::int64_t model_ps) {
  const auto due = begin_ + std::chrono::nanoseconds(model_ps / 1000);
  for (;;) {
    if (stopped()) return true;
    const auto now = Clock::now();
    if (tell_ && now - told_ >= tell_every) {
      told_ = now;
      tell_(model_ps);
    }
    if (!real_time_ || due - now <= ahead_most) return false;
    std::this_thread::sleep_for(std::min<Clock::duration>(due - now, sleep_most));
  }
}

}  // namespace stillrotor
