#include "emulator/virtual_time/conditions.hpp"

#include <cmath>

namespace stillrotor {
namespace {

constexpr double kelvin_at_0_C = 273.15;

double temperature_K(const plant::Drive& drive, plant::TemperatureNode node) noexcept {
  return drive.state().temperature_C[static_cast<std::size_t>(node)] + kelvin_at_0_C;
}

/// SI. distance_m: of the odometer, which the plant does not have.
double value_of(Watched what, const plant::Drive& drive, const plant::Snapshot& seen,
                double distance_m, double since_s) noexcept {
  using plant::TemperatureNode;
  switch (what) {
    case Watched::speed:
      return seen.omega_m_rad_s;
    case Watched::angle_e:
      return seen.theta_e_rad;
    case Watched::angle_m:
      return seen.theta_m_rad;
    case Watched::vehicle_speed:
      return seen.vehicle_m_s;
    case Watched::distance:
      return distance_m;
    case Watched::phase_current:
      return std::max(
          {std::abs(seen.current_A.U), std::abs(seen.current_A.V), std::abs(seen.current_A.W)});
    case Watched::bus_voltage:
      return seen.bus_V;
    case Watched::bus_current:
      return seen.supply_A;
    case Watched::torque:
      return seen.torque_Nm;
    case Watched::winding:
      return temperature_K(drive, TemperatureNode::winding);
    case Watched::magnet:
      return temperature_K(drive, TemperatureNode::magnet);
    case Watched::heatsink:
      return temperature_K(drive, TemperatureNode::heatsink);
    case Watched::junction:
      return temperature_K(drive, TemperatureNode::junction);
    case Watched::state_of_charge:
      return drive.state().supply.battery.charge;
    case Watched::time_since:
      return since_s;
  }
  return 0.0;
}

}  // namespace

Conditions::Conditions(std::span<const WaitingAction> waiting) : open_(waiting.size()) {
  watches_.reserve(waiting.size());
  for (const WaitingAction& one : waiting)
    watches_.push_back({&one, one.condition.after.empty() ? State::awake : State::asleep});
}

void Conditions::happened(std::string_view event, std::int64_t at_ps) noexcept {
  if (open_ == 0) return;
  for (Watch& watch : watches_)
    if (watch.state == State::asleep && watch.waiting->condition.after == event) {
      watch.state = State::awake;
      watch.event_ps = at_ps;
    }
}

std::int64_t Conditions::next_ps(std::int64_t now_ps) const noexcept {
  std::int64_t next = never_ps;
  if (open_ == 0) return next;
  for (const Watch& watch : watches_) {
    if (!watch.open()) continue;
    if (watch.state == State::awake) next = std::min(next, next_grid_ps(now_ps));
    next = std::min(next, std::max(by_ps(watch), now_ps + 1));
  }
  return next;
}

void Conditions::look(std::int64_t now_ps, const plant::Drive& drive, double distance_m) noexcept {
  if (now_ps % condition_grid_ps != 0) return;
  if (std::none_of(watches_.begin(), watches_.end(),
                   [](const Watch& w) { return w.state == State::awake; }))
    return;
  const plant::Snapshot seen = drive.snapshot();
  for (Watch& watch : watches_) {
    if (watch.state != State::awake) continue;
    const Condition& condition = watch.waiting->condition;
    const double since_s = static_cast<double>(now_ps - watch.event_ps) * 1e-12;
    if (!condition.holds(value_of(condition.what, drive, seen, distance_m, since_s))) {
      watch.holds_since_ps = never_ps;
      continue;
    }
    watch.holds_since_ps = std::min(watch.holds_since_ps, now_ps);
    if (now_ps - watch.holds_since_ps >= condition.for_ps) watch.state = State::due;
  }
}

}  // namespace stillrotor
