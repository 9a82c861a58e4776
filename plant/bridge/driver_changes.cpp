// The gate driver inside the drive: lines in, switches out, what it watches, its fault line.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

std::uint8_t with_bit(unsigned bits, Switch which, bool on) noexcept {
  const unsigned mask = 1U << static_cast<unsigned>(which);
  return static_cast<std::uint8_t>(on ? bits | mask : bits & ~mask);
}

}  // namespace

std::int64_t Drive::Impl::now_ps() const noexcept {
  return s.time_ps + static_cast<std::int64_t>(std::llround(s.offset_s * 1e12));
}

/// What the hardest-loaded switch carries [A].
double Drive::Impl::switch_A(const Point& y, double bus_V) const noexcept {
  double most = 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    // What a grounded terminal takes comes through the leg's switch.
    const double ground_A = s.leg[k] == Conduction::grounded_high ? leg_ground_A(k, y, bus_V) : 0.0;
    const double leg = std::abs(leg_current(k, y) + ground_A);
    const bool shorted = shorts_the_bus(s.leg[k]);
    const double short_A = 0.5 * std::abs(bus_V) / par.bridge.switch_on_resistance_ohm;
    most = std::max(most, shorted ? short_A + 0.5 * leg : leg);
  }
  return most;
}

double Drive::Impl::trip_margin(const Point& y, const Flow& f) const noexcept {
  return par.gate_driver.trip_A - switch_A(y, f.bus_V);
}

// Bootstrap capacitors follow where the terminals stand.
void Drive::Impl::tell_bootstrap(unsigned gates_before) noexcept {
  unsigned low = 0, turned_on = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    // A low switch that is on pulls its terminal down even where it carries nothing.
    if (gates_of(k) == 2U || on_low_side(s.leg[k])) low |= 1U << k;
    const unsigned high = 1U << (2 * k);
    if ((s.gates & high) != 0U && (gates_before & high) == 0U) turned_on |= 1U << k;
  }
  driver.bootstrap(s.driver, static_cast<std::uint8_t>(low), static_cast<std::uint8_t>(turned_on),
                   now_ps());
}

// After anything the driver may answer to. A high switch that its own gate charge starves goes off
// again at once, so it may take a second look.
void Drive::Impl::follow_driver() noexcept {
  for (int looks = 0; looks < 4; ++looks) {
    const std::uint8_t gates = driver.gates(s.driver);
    if (gates == s.asked) break;
    const unsigned before = s.gates;
    switch_gates(gates);
    tell_bootstrap(before);
  }
  if (driver.watches_current(s.driver) &&
      trip_margin(point(), flow(*mode, point(), drivers(0.0))) < 0.0)
    driver.trip(s.driver, now_ps());
  set_alarm();
}

// After legs have changed over by themselves.
void Drive::Impl::look_after_driver() noexcept {
  if (!driver.acts(s.driver)) return;
  tell_bootstrap(s.gates);
  follow_driver();
}

void Drive::Impl::switches_changed() noexcept {
  const unsigned before = s.gates;
  switches_broken = true;
  switch_gates(s.asked);
  if (driver.acts(s.driver)) {
    tell_bootstrap(before);
    follow_driver();
  }
  set_alarm();
}

bool Drive::Impl::fault_line_moves() const noexcept {
  return driver.fitted() && driver.fault(s.driver) != fault_line_high();
}
bool Drive::Impl::fault_line_high() const noexcept {
  return ((s.sensor_levels >> static_cast<int>(SensorLine::driver_fault)) & 1U) != 0U;
}

SensorEdge Drive::Impl::move_fault_line() noexcept {
  const unsigned mask = 1U << static_cast<int>(SensorLine::driver_fault);
  s.sensor_levels = static_cast<std::uint8_t>(s.sensor_levels ^ mask);
  return {SensorLine::driver_fault, fault_line_high()};
}

// A switch carries too much no sooner than full voltage across the least inductance allows. Shorts
// across the bus come by a gate: whoever sets one asks again; one that is under way comes with the
// driver's next change at the earliest.
std::int64_t Drive::Impl::fault_line_quiet_ps(std::int64_t limit_ps) const noexcept {
  if (!driver.acts(s.driver)) return limit_ps;
  if (fault_line_moves()) return s.time_ps;
  std::int64_t quiet_ps = std::min(limit_ps, driver.fault_moves_ps(s.driver));
  if (driver.watches_current(s.driver)) {
    const double to_go_A = std::max(0.0, par.gate_driver.trip_A - std::sqrt(current_A2()));
    const double s_to_trip =
        to_go_A * machine.leg_inductance_min_H(s.machine) / voltage_bound_V(point()) +
        par.gate_driver.trip_delay_s;
    if (driver.may_short(s.driver, s.switches.acting(0)))
      quiet_ps = std::min(quiet_ps, std::max(s.time_ps, driver.next_alarm_ps(s.driver)));
    if (s_to_trip < 1.0)
      quiet_ps = std::min(quiet_ps, s.time_ps + static_cast<std::int64_t>(s_to_trip * 1e12));
  }
  return quiet_ps;
}

void Drive::set_driver_enable(bool on) noexcept {
  Impl& d = *impl_;
  if (!d.driver.fitted()) return;
  d.driver.enable(d.s.driver, on, d.now_ps());
  d.follow_driver();
}

void Drive::set_driver_supply_V(double volts) noexcept {
  Impl& d = *impl_;
  if (!d.driver.fitted()) return;
  d.driver.supply(d.s.driver, volts, d.now_ps());
  d.follow_driver();
}

void Drive::set_switch_open(Switch which, bool open) noexcept {
  impl_->s.switches.open = with_bit(impl_->s.switches.open, which, open);
  impl_->switches_changed();
}

void Drive::set_switch_shorted(Switch which, bool shorted) noexcept {
  impl_->s.switches.shorted = with_bit(impl_->s.switches.shorted, which, shorted);
  impl_->switches_changed();
}

void Drive::short_leg(Leg leg, double for_s) noexcept {
  Impl& d = *impl_;
  const auto span_ps = static_cast<std::int64_t>(std::llround(for_s * 1e12));
  d.s.switches.pulse_ends_ps[static_cast<std::size_t>(leg)] =
      span_ps > 0 ? d.now_ps() + span_ps : SwitchFaults::never_ps;
  d.switches_changed();
}

void Drive::set_gate_skew(Switch which, double on_s, double off_s) noexcept {
  Impl& d = *impl_;
  d.driver.skew(d.s.driver, which, on_s, off_s, d.s.asked);
  d.inputs_changed();
  d.set_alarm();
}

void Drive::set_bootstrap_open(Leg leg, bool open) noexcept {
  Impl& d = *impl_;
  d.driver.open_bootstrap(d.s.driver, static_cast<int>(leg), open, d.now_ps());
  d.look_after_driver();
}

double Drive::bootstrap_V(Leg leg) const noexcept {
  return impl_->driver.bootstrap_V(impl_->s.driver, static_cast<int>(leg), impl_->now_ps());
}

double Drive::leg_heat_W(Leg leg) const noexcept {
  const Impl& d = *impl_;
  const auto k = static_cast<std::size_t>(leg);
  const Point y = d.point();
  const double bus_V = d.flow(*d.mode, y, d.drivers(0.0)).bus_V;
  return plant::leg_heat_W(d.s.leg[k], d.law(d.s.leg[k]), d.par.bridge, leg_current(k, y), bus_V);
}

}  // namespace stillrotor::plant
