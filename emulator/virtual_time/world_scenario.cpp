// What the scenario does to the bench as time goes on: actions, conditions, quantities that move.
#include <algorithm>
#include <array>

#include "emulator/virtual_time/world.hpp"

namespace stillrotor {
namespace {

using io::LineId;

constexpr double zero_C_K = 273.15;
constexpr double condition_grid_s = static_cast<double>(condition_grid_ps) * 1e-12;

/// What moves and the plant holds still in between is told to it so often.
constexpr std::int64_t holding_tick_ps = 1'000'000'000;  // 1 ms

}  // namespace

void BenchWorld::do_due_actions() noexcept {
  while (const Action* action = timeline_.take_due(now_ps())) act(*action);
  timeline_.woken();
  watch_conditions();
  follow_faults();
  timeline_.wake_at(conditions_.next_ps(now_ps()));
  follow_ramps();
  follow_given_speed();
  follow_command_pulse();
  sampler_.inputs_changed();
  promise_nothing();
}

void BenchWorld::watch_conditions() noexcept {
  const std::int64_t now = now_ps();
  if (counts_distance_) {
    odometer_.pass(now, plant_.snapshot().vehicle_m_s);
    timeline_.wake_at(next_grid_ps(now));
  }
  conditions_.ask(
      now, plant_, odometer_.distance_m(), [this](const Action& action) { act(action); },
      [&](const WaitingAction& one) { event(now, condition_not_met, one.action.label); });
}

void BenchWorld::follow_ramps() noexcept {
  const std::int64_t now = now_ps();
  plant_.set_load_torque_Nm(load_torque_Nm_.ramp_at(now));
  const double ahead_m = counts_distance_ ? plant_.snapshot().vehicle_m_s * condition_grid_s : 0.0;
  const auto on_the_road = [&](const RoadLine& line) {
    const double here = line.at(odometer_.distance_m());
    return plant::Ramp{here, (line.at(odometer_.distance_m() + ahead_m) - here) / condition_grid_s};
  };
  plant_.set_slope(road_.slope.any() ? on_the_road(road_.slope) : slope_.ramp_at(now));
  plant_.set_supply_V(supply_V_.ramp_at(now));
  plant_.set_wind_m_s(road_.wind_m_s.any() ? on_the_road(road_.wind_m_s) : wind_m_s_.ramp_at(now));
  plant_.set_pedal_Nm(pedal_Nm_.ramp_at(now));
  if (bench_.drive.shaft.hold == plant::Hold::start_speed && motion_.speed.empty())
    plant_.hold_speed_rad_s(held_speed_rad_s_.ramp_at(now));
  for (const RampedInput* input :
       {&load_torque_Nm_, &slope_, &supply_V_, &wind_m_s_, &pedal_Nm_, &held_speed_rad_s_})
    timeline_.wake_at(input->next_change_ps(now));
  follow_surface();
  plant_.set_ambient_K(held(ambient_K_));
  if (warmed_ != 0) follow_temperatures();
}

/// Of a quantity that the plant holds until it is told again: its value in the middle of that time.
double BenchWorld::held(const RampedInput& asked) noexcept {
  const std::int64_t now = now_ps(), next_ps = asked.next_change_ps(now);
  if (next_ps == never_ps) return asked.at(now);
  const std::int64_t until_ps = std::min(next_ps, now + holding_tick_ps);
  timeline_.wake_at(until_ps);
  return asked.at(now + (until_ps - now) / 2);
}

void BenchWorld::follow_surface() noexcept {
  const auto now = [&](const RoadLine& line, const RampedInput& asked) {
    if (!line.any()) return held(asked);
    return line.at(odometer_.distance_m() + 0.5 * condition_grid_s * plant_.snapshot().vehicle_m_s);
  };
  plant_.set_surface({now(road_.rolling, rolling_), now(road_.grip, grip_)});
}

void BenchWorld::follow_temperatures() noexcept {
  const std::int64_t now = now_ps();
  for (std::size_t k = 0; k < temperature_K_.size(); ++k) {
    const auto bit = static_cast<std::uint8_t>(1U << k);
    if ((warmed_ & bit) == 0) continue;
    const RampedInput& asked = temperature_K_[k];
    plant_.set_temperature_C(static_cast<plant::TemperatureNode>(k), asked.at(now) - zero_C_K);
    const std::int64_t next_ps = asked.next_change_ps(now);
    if (next_ps == never_ps)
      warmed_ = static_cast<std::uint8_t>(warmed_ & ~bit);
    else
      timeline_.wake_at(std::min(next_ps, now + holding_tick_ps));
  }
}

void BenchWorld::follow_given_speed() noexcept {
  const auto& steps = motion_.speed;
  for (; next_speed_ < steps.size() && steps[next_speed_].at_ps <= now_ps(); ++next_speed_)
    plant_.hold_speed_rad_s({steps[next_speed_].speed_rad_s, 0.0});
  if (next_speed_ < steps.size()) timeline_.wake_at(steps[next_speed_].at_ps);
}

void BenchWorld::follow_command_pulse() noexcept {
  const Controls& controls = bench_.controls;
  if (!controls.pulse.fitted || !wiring_.connected(io::line::command_pulse)) return;
  if (pulse_.next_ps() <= now_ps()) {
    pulse_.attend((throttle_V_.at(now_ps()) - controls.throttle_idle_V) /
                  (controls.throttle_full_V - controls.throttle_idle_V));
    set_line(io::line::command_pulse, pulse_.high());
  }
  timeline_.wake_at(pulse_.next_ps());
}

void BenchWorld::act(const Action& action) noexcept {
  const std::int64_t now = now_ps();
  const bool on = action.value != 0.0;
  if (action.kind == ActionKind::fault) return act_fault(action);
  sink_.mark(MarkKind::action, now, action.mark, action.label);
  conditions_.happened(action.mark, now);
  switch (action.kind) {
    case ActionKind::key:
      set_line(io::line::key, on);
      return close_key_contact(on);
    case ActionKind::brake:
      return set_line(io::line::brake, on);
    case ActionKind::reverse:
      return set_line(io::line::reverse, on);
    case ActionKind::speed_limit:
      return set_line(io::line::speed_limit, on);
    case ActionKind::throttle:
      return throttle_V_.act(now, action);
    case ActionKind::load_torque:
      return load_torque_Nm_.act(now, action);
    case ActionKind::slope:
      return slope_.act(now, action);
    case ActionKind::supply_voltage:
      return supply_V_.act(now, action);
    case ActionKind::supply:
      return plant_.set_supply_interrupted(!on);
    case ActionKind::rolling_factor:
      return rolling_.act(now, action);
    case ActionKind::grip_factor:
      return grip_.act(now, action);
    case ActionKind::ambient:
      return ambient_K_.act(now, action);
    case ActionKind::wind:
      return wind_m_s_.act(now, action);
    case ActionKind::pedal_torque:
      return pedal_Nm_.act(now, action);
    case ActionKind::held_speed:
      return held_speed_rad_s_.act(now, action);
    case ActionKind::driver_supply:
      return plant_.set_driver_supply_V(action.value);
    case ActionKind::command_pulse:
      return pulse_.send(on);
    case ActionKind::temperature:
      if ((warmed_ >> action.body & 1U) == 0)
        temperature_K_[action.body].go(now, plant_.state().temperature_C[action.body] + zero_C_K,
                                       0);
      temperature_K_[action.body].act(now, action);
      warmed_ = static_cast<std::uint8_t>(warmed_ | 1U << action.body);
      return;
    case ActionKind::fault:
      return;  // above
  }
}

void BenchWorld::close_key_contact(bool closed) noexcept {
  if (!bench_.controller_stays_supplied) power_request_ = closed ? controller_supply_V_ : 0.0;
  if (bench_.key_closes_contactor) plant_.set_contactor(closed);
}

bool BenchWorld::foretell_driver(std::int64_t t_ps, Pins& pins) const noexcept {
  RampedInput throttle_V = throttle_V_;
  struct Switch {
    LineId line;
    ActionKind kind;
    bool on;
  };
  const auto as_it_stands = [this](LineId line, ActionKind kind) {
    return Switch{line, kind, wiring_.is_on(line)};
  };
  std::array switches{as_it_stands(io::line::key, ActionKind::key),
                      as_it_stands(io::line::brake, ActionKind::brake),
                      as_it_stands(io::line::reverse, ActionKind::reverse),
                      as_it_stands(io::line::speed_limit, ActionKind::speed_limit)};
  timeline_.tell_coming(t_ps, [&](const Action& action) {
    if (action.kind == ActionKind::throttle) throttle_V.act(action.at_ps, action);
    for (Switch& one : switches)
      if (action.kind == one.kind) one.on = action.value != 0.0;
  });
  for (const Switch& one : switches)
    pins.levels[io::index(one.line)] = wiring_.level(one.line, one.on);
  if (bench_.harness.channels[io::index(io::channel::throttle)])
    pins.volts[io::index(io::channel::throttle)] = analog_.volts(
        io::channel::throttle, t_ps, [&](io::ChannelId) { return throttle_V.at(t_ps); });
  return switches[0].on || bench_.controller_stays_supplied;
}

}  // namespace stillrotor
