#include "emulator/virtual_time/live_turns.hpp"

#include <algorithm>
#include <chrono>
#include <thread>

namespace stillrotor {
namespace {

using namespace std::chrono_literals;
constexpr auto look_again_after = 2ms;
constexpr std::int64_t ms_ps = 1'000'000'000;

}  // namespace

LiveTurns::~LiveTurns() {
  live_.publish(world_.now_ps(), world_.now_ps());
  live_.say_end(world_.now_ps());
  live_.say(LivePhase::ended);
}

bool LiveTurns::await_start() {
  const auto began = std::chrono::steady_clock::now();
  while (!live_.start_asked()) {
    if (live_.stop_asked() || interrupted()) return false;
    take_in(0);
    std::this_thread::sleep_for(look_again_after);
  }
  pace_.stood_still(std::chrono::steady_clock::now() - began);
  live_.say(LivePhase::running);
  return true;
}

/// Beyond all that is decided and all that has been promised to the driver: a run that is planned
/// to end there takes the same way.
void LiveTurns::end_soon(std::int64_t present_ps) {
  ends_ = true;
  std::int64_t at_ps = (present_ps + decided_ps_) / ms_ps * ms_ps + ms_ps;
  if (const std::int64_t last_ps = world_.last_driven_ps(); last_ps != never_ps)
    at_ps = std::max(at_ps, last_ps + ms_ps);
  if (at_ps >= end_ps_) return;
  end_ps_ = at_ps;
  world_.end_at(at_ps);
  live_.say_end(at_ps);
}

void LiveTurns::stand(std::int64_t present_ps) {
  if (!held_) step_to_ps_ = present_ps;
  held_ = true;
  if (present_ps < step_to_ps_ && live_.hold_asked() && !ends_) return;
  world_.show();
  live_.say(LivePhase::paused);
  const auto began = std::chrono::steady_clock::now();
  while (live_.hold_asked() && !live_.stop_asked() && !interrupted()) {
    if (const std::int64_t by_ps = live_.take_step_ps(); by_ps > 0) {
      step_to_ps_ = present_ps + by_ps;
      pace_.stood_still(std::chrono::steady_clock::now() - began);
      return;
    }
    take_in(present_ps);
    std::this_thread::sleep_for(look_again_after);
  }
  pace_.stood_still(std::chrono::steady_clock::now() - began);
  held_ = false;
  live_.say(LivePhase::running);
  if (live_.stop_asked() && !ends_) end_soon(present_ps);
}

}  // namespace stillrotor
