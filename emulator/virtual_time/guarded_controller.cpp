#include "emulator/virtual_time/guarded_controller.hpp"

#include <algorithm>
#include <exception>
#include <utility>

namespace stillrotor {
void GuardedController::begin() {
  if (const auto volts = world_.take_power_request()) switch_supply(*volts);
}

void GuardedController::run_to(std::int64_t horizon_ps) noexcept {
  const std::int64_t reached_ps = controller_.run(io::Time(horizon_ps)).count();
  standstill_.note(reached_ps > reached_ps_);
  reached_ps_ = std::max(reached_ps_, reached_ps);
  if (const io::Health health = controller_.health(); health != io::Health::running)
    stop(health, std::string(controller_.diagnosis()));
  else if (standstill_.lasts())
    stop(io::Health::hung, standstill_.why());
}

void GuardedController::exchange() noexcept {
  if (const auto volts = world_.take_power_request()) {
    try {
      switch_supply(*volts);
    } catch (const std::exception& error) {
      stop(io::Health::crashed, error.what());
    }
  }
  for (const io::Edge& edge : world_.take_arrivals())
    if (alive_ && edge.at.count() > powered_ps_) controller_.deliver(edge);
}

void GuardedController::switch_supply(double volts) {
  const bool on = volts > 0.0;
  reached_ps_ = std::max(reached_ps_, world_.now_ps());
  controller_.power(volts, io::Time(reached_ps_), world_);
  if (!on) world_.release_gates(reached_ps_);
  alive_ = on && controller_.health() == io::Health::running;
  powered_ps_ = reached_ps_;
  standstill_.forget();
}

void GuardedController::stop(io::Health health, std::string why) noexcept {
  alive_ = false;
  const std::int64_t t_ps = std::max(reached_ps_, world_.now_ps());
  world_.event(t_ps, stop_event(health), why);
  world_.release_gates(t_ps);
  if (health_ != io::Health::running) return;
  health_ = health;
  diagnosis_ = std::move(why);
}

}  // namespace stillrotor
