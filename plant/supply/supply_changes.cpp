// What changes by itself between source and bus: a bench supply's loops, the chopper, protection
// and contactor; and the charge that a battery gives.
#include <bit>

#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

constexpr double seconds_per_ps = 1e-12;

std::int64_t to_ps(double seconds) noexcept {
  return static_cast<std::int64_t>(std::llround(seconds * 1e12));
}

}  // namespace

void Drive::Impl::refresh_bus() noexcept {
  const LinkHold hold = s.link_held ? link_hold() : LinkHold{};
  const double chopper_S = s.supply.chopper_on ? 1.0 / par.chopper.resistance_ohm : 0.0;
  bus = bus_law(par.supply, supply_law, par.dc_link, s.supply_mode, s.source_ohm,
                mode->shoot_S + chopper_S + hold.S, hold.S * hold.V, mode->shoot_S > 0.0);
  const double leg_ohm = around.leg_ohm(par.bridge);
  // The link rings with the windings: L di/dt = u v, C dv/dt = -1.5 u . i, |u| at most 2/3.
  const double ring_s =
      std::sqrt(1.5 * machine.leg_inductance_min_H(s.machine) * par.dc_link.capacitance_F);
  bus.step_max_s = std::min({bus.step_max_s, shaft_step_s, 0.25 * ring_s,
                             machine.short_step_s(s.machine, leg_ohm),
                             machine.winding_step_s(s.machine, leg_ohm)});
  // A fortieth of a period costs RK4 less than 1e-6 of the ripple.
  if (s.supply.ripple_V != 0.0)
    bus.step_max_s = std::min(bus.step_max_s, two_pi / (40.0 * s.supply.ripple_rad_s));
}

double Drive::Impl::ripple_V(double t) const noexcept {
  const double at_s = static_cast<double>(s.time_ps - s.supply.ripple_from_ps) * seconds_per_ps;
  return s.supply.ripple_V * std::sin(s.supply.ripple_rad_s * (at_s + s.offset_s + t));
}

double Drive::Impl::ripple_Vs(double span_s) const noexcept {
  if (s.supply.ripple_V == 0.0) return 0.0;
  const double w = s.supply.ripple_rad_s;
  const double from_s =
      static_cast<double>(s.time_ps - s.supply.ripple_from_ps) * seconds_per_ps + s.offset_s;
  return s.supply.ripple_V / w * (std::cos(w * from_s) - std::cos(w * (from_s + span_s)));
}

// What still flows in the cable when the path parts burns in the arc.
void Drive::Impl::part_supply() noexcept {
  double& i = s.extra.i_cable_A;
  if (ledger) s.dissipated_J += 0.5 * par.supply.cable_inductance_H * i * i;
  i = 0.0;
  s.supply_mode = SupplyMode::open;
}

void Drive::Impl::refresh_path() noexcept {
  const SupplyState& now = s.supply;
  const bool joined = now.contactor_closed && !now.contactor_failed;
  const bool through = joined || (par.contactor.pre_charge_ohm > 0.0 && !now.pre_charge_failed);
  const bool closed = through && !now.interrupted && !now.disconnected && !now.bounced &&
                      !now.latched && now.protection.tripped == 0;
  s.source_ohm = supply_ohm + now.more_ohm + (joined ? 0.0 : par.contactor.pre_charge_ohm);
  if (!closed)
    part_supply();
  else if (s.supply_mode == SupplyMode::open)
    s.supply_mode = SupplyMode::voltage;
  refresh_bus();
  choose_legs();
  choose_supply();
  choose_motion();
}

bool Drive::Impl::choose_chopper() noexcept {
  if (par.chopper.resistance_ohm <= 0.0) return false;
  bool& on = s.supply.chopper_on;
  const bool was_on = on;
  if (!par.chopper.by_itself) {
    on = s.supply.chopper_gate;
  } else {
    const double bus_V = flow_of_bus(*mode, point(), drivers(0.0)).bus_V;
    on = on ? bus_V >= par.chopper.off_V : bus_V > par.chopper.on_V;
  }
  if (on != was_on) refresh_bus();
  return on != was_on;
}

// Below zero the bus is held by each leg's diode in series with the switch that is on beside it,
// or, with none on or with switches that conduct one way only, by both its diodes.
Drive::Impl::LinkHold Drive::Impl::link_hold() const noexcept {
  const BridgeParameters& b = par.bridge;
  const unsigned on = (s.gates | s.gates >> 1) & 0b010101U;
  const int beside_switches = b.switch_kind == SwitchKind::mosfet ? std::popcount(on) : 0;
  if (beside_switches > 0)
    return {b.diode_voltage_V,
            beside_switches / (b.diode_resistance_ohm + b.switch_on_resistance_ohm)};
  return {2.0 * b.diode_voltage_V, 3.0 / (2.0 * b.diode_resistance_ohm)};
}

/// The bus's distance from where those diodes begin to conduct, or cease to.
double Drive::Impl::hold_margin(double bus_V) const noexcept {
  const double above_V = bus_V + link_hold().V;
  return s.link_held ? -above_V : above_V;
}

void Drive::Impl::choose_hold() noexcept {
  if (!s.link_held && !nearly_empty(s.v_cap_V, current_A2())) return;
  const double bus_V = flow_of_bus(*mode, point(), drivers(0.0)).bus_V;
  const bool held = bus_V + link_hold().V < 0.0;
  if (!held && !s.link_held) return;
  s.link_held = held;
  refresh_bus();  // by the gates as they are now
}

// What watches the bus sees it as the source has answered, not as it would have jumped behind a
// source that goes on as before.
void Drive::Impl::choose_supply() noexcept {
  choose_hold();
  if (!watches_supply) return;
  choose_source();
  if (choose_chopper()) choose_source();
  if (s.supply_mode == SupplyMode::open ||
      !(flow_of_bus(*mode, point(), drivers(0.0)).bus_V > par.supply.latch_above_V))
    return;
  s.supply.latched = true;
  s.supply.latched_ps = s.time_ps + to_ps(s.offset_s);
  part_supply();
  refresh_bus();
}

void Drive::Impl::choose_source() noexcept {
  if (par.supply.kind != SupplyKind::bench_supply || s.supply_mode == SupplyMode::open) return;
  const Drivers in = drivers(0.0);
  const BusFlow before = flow_of_bus(*mode, point(), in);
  const bool cable = par.supply.cable_inductance_H > 0.0;
  if (cable && bus.cable_share <= 0.0) {
    // What the limit let the cable's current change by was counted as heat.
    double& i = s.extra.i_cable_A;
    if (ledger)
      s.dissipated_J -=
          0.5 * par.supply.cable_inductance_H * (before.supply_A * before.supply_A - i * i);
    i = before.supply_A;
  }
  s.supply_mode = SupplyMode::voltage;
  refresh_bus();
  const BusFlow f = flow_of_bus(*mode, point(), in);
  const double asked_A = (source_V(point(), in) - f.bus_V) / s.source_ohm;
  const double limit_A = supply_limit_A(f.bus_V, in.supply_V);
  const bool ended = cable ? f.supply_A <= zero_A && asked_A < 0.0 : f.supply_A < 0.0;
  if (ended)
    s.supply_mode = SupplyMode::blocked;
  else if (supply_law.regulated)
    s.supply_mode = loops(f.supply_A, f.bus_V, point(), in).margin_V() < 0.0
                        ? SupplyMode::current_limit
                        : SupplyMode::voltage;
  else if (cable ? f.supply_A >= limit_A - zero_A && asked_A > limit_A : f.supply_A > limit_A)
    s.supply_mode = SupplyMode::current_limit;
  if (cable) {
    double& i = s.extra.i_cable_A;
    i = ended ? 0.0 : std::max(i, 0.0);
    if (!supply_law.regulated) i = std::min(i, limit_A);
  }
  if (s.supply_mode != SupplyMode::voltage) refresh_bus();
}

// The least distance of the supply side from a change; negative: a change is due.
double Drive::Impl::supply_margin(const Point& y, const Drivers& in, const Flow& f) const noexcept {
  double least = 1e300;
  if (par.chopper.by_itself)
    least = s.supply.chopper_on ? f.bus_V - par.chopper.off_V : par.chopper.on_V - f.bus_V;
  if (par.supply.kind != SupplyKind::bench_supply || s.supply_mode == SupplyMode::open)
    return least;
  least = std::min(least, par.supply.latch_above_V - f.bus_V);
  const double asked_A = (source_V(y, in) - f.bus_V) / s.source_ohm;
  if (s.supply_mode == SupplyMode::blocked) return std::min(least, -asked_A);
  if (supply_law.regulated) {
    const double apart_V = loops(f.supply_A, f.bus_V, y, in).margin_V();
    return std::min({least, f.supply_A, s.supply_mode == SupplyMode::voltage ? apart_V : -apart_V});
  }
  const double limit_A = supply_limit_A(f.bus_V, in.supply_V);
  if (s.supply_mode == SupplyMode::current_limit) return std::min(least, asked_A - limit_A);
  return std::min({least, f.supply_A, limit_A - f.supply_A});
}

void Drive::Impl::steer_battery() noexcept {
  const double current_A = flow_of_bus(*mode, point(), drivers(0.0)).supply_A;
  s.supply.own_V_per_s = battery.own_V_per_s(s.supply.battery, current_A);
}

// The charge comes from the same sums over the step's stages that moved the link's capacitor (and
// the cable), so it is exactly what the step has drawn:
//   C dv = q - q_legs - across int v_dc,   q = g (int v_supply - int v_dc)   or, with a cable,
//   L di = int v_supply - R q - int v_dc.
void Drive::Impl::follow_battery(const Point& end, double h) noexcept {
  SupplyState& now = s.supply;
  const double input_Vs =
      now.share * h * (s.supply_V.value + 0.5 * h * s.supply_V.rate_per_s) + ripple_Vs(h);
  double q = 0.0;
  if (s.supply_mode != SupplyMode::open) {
    const double source_Vs = input_Vs + h * (now.own_V + 0.5 * h * now.own_V_per_s);
    const double into_C = par.dc_link.capacitance_F * (end.v_cap - s.v_cap_V) +
                          end.legs_C +  // link and bridge
                          h * bus.across_A;
    if (bus.cable_share > 0.0) {
      const double kept_Vs =
          par.supply.cable_inductance_H * (end.extra.i_cable_A - s.extra.i_cable_A);
      q = (into_C + bus.across_S * (source_Vs - kept_Vs)) / (1.0 + bus.across_S * s.source_ohm);
    } else {
      const double g = bus.per_supply_S;
      q = into_C + bus.across_S * (g * source_Vs - into_C) / (g + bus.across_S);
    }
  }
  const Battery::Energies energy = battery.draw(now.battery, q, h);
  now.own_V = battery.own_V(now.battery);
  now.drawn_C += q;
  if (!ledger) return;
  s.supplied_J += input_Vs / h * q + energy.supplied_J;
  s.dissipated_J += energy.heat_J;
}

// ---- timed changes

std::int64_t Drive::Impl::next_supply_alarm_ps() const noexcept {
  return std::min(
      {s.supply.contactor_at_ps, s.supply.protection.next_sample_ps, s.supply.bounce_at_ps});
}

void Drive::Impl::ring_supply() noexcept {
  SupplyState& now = s.supply;
  if (now.contactor_at_ps <= s.time_ps) {
    now.contactor_at_ps = no_alarm_ps;
    now.contactor_closed = now.contactor_asked;
    now.contactor_moved_ps = s.time_ps;
    refresh_path();
  }
  if (now.bounce_at_ps <= s.time_ps) {
    now.bounced = !now.bounced;
    if (now.bounced) --now.bounces_left;
    const std::int64_t wait_ps = now.bounced ? now.bounce_open_ps : now.bounce_shut_ps;
    now.bounce_at_ps =
        now.bounced || now.bounces_left > 0 ? now.bounce_at_ps + wait_ps : no_alarm_ps;
    refresh_path();
  }
  ProtectionState& board = now.protection;
  if (board.next_sample_ps > s.time_ps) return;
  const std::uint8_t before = board.tripped;
  const double mean_A = (now.drawn_C - board.sample_start_C) / par.supply.protection.sample_time_s;
  const double pack_V = drivers(0.0).supply_V - supply_ohm * mean_A;
  sample(par.supply.protection, board, s.time_ps, pack_V, mean_A);
  board.sample_start_C = now.drawn_C;
  board.next_sample_ps = s.time_ps + to_ps(par.supply.protection.sample_time_s);
  if (board.tripped == before) return;
  now.protection_moved_ps = s.time_ps;
  refresh_path();
}

// ---- the door's share

void Drive::Impl::start_supply() noexcept {
  SupplyState& now = s.supply;
  now.battery = battery.at_start();
  now.own_V = battery.own_V(now.battery);
  if (par.contactor.fitted)
    now.contactor_closed = now.contactor_asked = par.contactor.closed_at_start;
  if (par.supply.protection.fitted)
    now.protection.next_sample_ps = to_ps(par.supply.protection.sample_time_s);
  s.extra.supply_inner = par.supply.voltage_V;
  s.alarm_ps = std::min(s.alarm_ps, next_supply_alarm_ps());
}

void Drive::set_supply_interrupted(bool interrupted) noexcept {
  Impl& d = *impl_;
  if (d.s.supply.interrupted == interrupted) return;
  d.s.supply.interrupted = interrupted;
  d.refresh_path();
}

void Drive::set_supply_more_ohm(double ohm) noexcept {
  impl_->s.supply.more_ohm = ohm;
  impl_->refresh_path();
}

void Drive::set_supply_share(double share) noexcept {
  impl_->s.supply.share = share;
  set_supply_V(impl_->s.supply_V);
}

void Drive::set_supply_ripple(double amplitude_V, double frequency_Hz) noexcept {
  SupplyState& now = impl_->s.supply;
  now.ripple_V = amplitude_V;
  now.ripple_rad_s = two_pi * frequency_Hz;
  now.ripple_from_ps = impl_->now_ps();
  impl_->choose_path();
  impl_->refresh_bus();
  set_supply_V(impl_->s.supply_V);
}

void Drive::set_supply_disconnected(bool disconnected) noexcept {
  impl_->s.supply.disconnected = disconnected;
  impl_->refresh_path();
}

void Drive::fail_contactor(bool failed) noexcept {
  impl_->s.supply.contactor_failed = failed;
  impl_->refresh_path();
}

void Drive::fail_pre_charge(bool failed) noexcept {
  impl_->s.supply.pre_charge_failed = failed;
  impl_->refresh_path();
}

void Drive::bounce_supply(double open_s, double every_s, int times) noexcept {
  SupplyState& now = impl_->s.supply;
  now.bounced = times > 0;
  now.bounces_left = std::max(0, times - 1);
  now.bounce_open_ps = std::max<std::int64_t>(1, to_ps(open_s));
  now.bounce_shut_ps = std::max<std::int64_t>(1, to_ps(every_s - open_s));
  now.bounce_at_ps = times > 0 ? impl_->now_ps() + now.bounce_open_ps : no_alarm_ps;
  impl_->refresh_path();
  impl_->set_alarm();
}

void Drive::set_contactor(bool closed) noexcept {
  Impl& d = *impl_;
  SupplyState& now = d.s.supply;
  if (!d.par.contactor.fitted || now.contactor_asked == closed) return;
  now.contactor_asked = closed;
  // Asked back before it moved: it stays.
  const double delay_s = closed ? d.par.contactor.pull_in_s : d.par.contactor.drop_out_s;
  now.contactor_at_ps = now.contactor_closed == closed ? no_alarm_ps : d.s.time_ps + to_ps(delay_s);
  if (now.contactor_at_ps <= d.s.time_ps) {
    now.contactor_at_ps = no_alarm_ps;
    now.contactor_closed = closed;
    now.contactor_moved_ps = d.s.time_ps;
    d.refresh_path();
  }
  d.s.alarm_ps = std::min(d.s.alarm_ps, d.next_supply_alarm_ps());
}

void Drive::set_chopper(bool on) noexcept {
  Impl& d = *impl_;
  if (d.s.supply.chopper_gate == on) return;
  d.s.supply.chopper_gate = on;
  d.choose_supply();
  d.choose_legs();
}

}  // namespace stillrotor::plant
