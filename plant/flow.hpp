// The plant's differential equations, once, for integration, event search and observation alike.
//   v = u v_dc + e_leg - r_leg i                     (bridge; conduction.hpp)
//   L di/dt = v - back                               (machine; machine/terminal_law.hpp)
//   C dv_C/dt = i_supply - i_dc;  v_dc as in supply/bus_law.hpp
//   J domega/dt = T - B omega - k omega |omega| - T_c rotation - T_load   (one mass; else, and with
//   wind, pedals, losses: shaft/shaft_law.hpp)
// With one leg out, currents keep to the free direction d: di/dt = d (d . rhs) / (d . L d).
#pragma once

#include <algorithm>

#include "plant/drive_impl.hpp"

namespace stillrotor::plant {

[[gnu::always_inline]] inline Drivers Drive::Impl::drivers(double t) const noexcept {
  if (!ramping) return at_rest;
  const auto at = [t](const Ramp& r) { return r.value + r.rate_per_s * t; };
  double set_V = at(s.supply_V) * s.supply.share;
  if (s.supply.ripple_V != 0.0) [[unlikely]]
    set_V += ripple_V(t);
  return {set_V + s.supply.own_V + s.supply.own_V_per_s * t,
          at(s.load_torque_Nm) + par.shaft.constant_torque_Nm +
              (s.slope.rate_per_s == 0.0 ? slope_at_rest_Nm : slope_Nm(at(s.slope))),
          at(s.wind_m_s), at(s.pedal_Nm), at(s.held_speed_rad_s)};
}

[[gnu::always_inline]] inline Drive::Impl::BusFlow Drive::Impl::flow_of_bus(
    const ConductionMode& m, AlphaBeta i_A, double v_cap_V, const Extra& extra,
    const Drivers& in) const noexcept {
  const double source = source_V(extra, in);
  BusFlow f;
  f.legs_A = 1.5 * (m.u_alpha * i_A.alpha + m.u_beta * i_A.beta);
  f.bus_V = bus.from_cap * v_cap_V + bus.from_legs_ohm * f.legs_A + bus.from_supply * source +
            bus.from_cable_ohm * extra.i_cable_A + bus.constant_V;
  f.supply_A =
      bus.per_supply_S * (source - f.bus_V) + bus.constant_A + bus.cable_share * extra.i_cable_A;
  return f;
}

[[gnu::always_inline]] inline LinkProbe Drive::Impl::probe_link(const Continuous& c,
                                                                const Drivers& in) const noexcept {
  const BusFlow f = flow_of_bus(*mode, {c.i_alpha_A, c.i_beta_A}, c.v_cap_V, c.extra, in);
  return {f.bus_V, f.supply_A, f.legs_A + shorted_A(f.bus_V)};
}

[[gnu::always_inline]] inline void Drive::Impl::follow_rest(const SeenByRest& before,
                                                            const SeenByRest& after, double h,
                                                            const SensorLags& lags) noexcept {
  if (analog.follows_dc_link)
    analog.dc_link_current.step(s.analog.dc_link, 0, before.bridge_A, after.bridge_A, h,
                                lags.dc_link_current);
  if (analog.follows_bus_V) s.analog.bus_V = lags.bus_V(s.analog.bus_V, before.bus_V, after.bus_V);
  if (analog.follows_terminals) {
    const LagStep& lag = lags.terminal_V;
    double* const seen_V = s.analog.terminal_V;
    const Pair u_v = lag(pair(seen_V[0], seen_V[1]), before.terminal_u_v_V, after.terminal_u_v_V);
    seen_V[0] = u_v[0];
    seen_V[1] = u_v[1];
    seen_V[2] = lag(seen_V[2], before.terminal_w_V, after.terminal_w_V);
  }
}

[[gnu::always_inline]] inline bool Drive::Impl::use_plain_legs() noexcept {
  if (s.open_phases != 0 || s.grounded >= 0 || !(current_A2() < share_A * share_A)) return false;
  const Gated& now = gated[s.gates];
  unsigned signs = 0;
  if (!now.all) {
    const Phases i = phases({s.i_alpha_A, s.i_beta_A});
    const bool all_flow =
        std::abs(i.U) > zero_A && std::abs(i.V) > zero_A && std::abs(i.W) > zero_A;
    if (!all_flow || par.bridge.output_capacitance_F > 0.0) return false;
    signs = (i.U > 0.0 ? 1U : 0U) | (i.V > 0.0 ? 2U : 0U) | (i.W > 0.0 ? 4U : 0U);
  }
  use_legs(now.leg[signs], *now.mode[signs]);
  return true;
}

inline Drive::Impl::LoopRates Drive::Impl::loops(double supply_A, double bus_V, const Point& y,
                                                 const Drivers& in) const noexcept {
  const SupplyLaw& l = supply_law;
  return {l.voltage_gain_per_s * (in.supply_V - y.extra.supply_inner + supply_ohm * supply_A),
          l.current_gain_V_per_A_s * (supply_limit_A(bus_V, in.supply_V) - supply_A),
          l.voltage_gain_per_s};
}

[[gnu::always_inline]] inline TerminalLaw Drive::Impl::machine_law(const Point& y) const noexcept {
  TerminalLaw law = machine.at(y, s.machine);
  if (machine.cogging().any()) law.torque_Nm += cogging_Nm(y.theta);
  return law;
}

inline double Drive::Impl::machine_torque_Nm(const Point& y) const noexcept {
  const double own = machine.torque_Nm(y, s.machine);
  return machine.cogging().any() ? own + cogging_Nm(y.theta) : own;
}

template <bool Extras>
[[gnu::always_inline]] inline Flow Drive::Impl::flow(const ConductionMode& m, const Point& y,
                                                     const Drivers& in) const noexcept {
  Flow f;
  f.machine = machine_law(y);
  const TerminalLaw& t = f.machine;

  const BusFlow b = flow_of_bus(m, y, in);
  f.legs_A = b.legs_A;
  f.bus_V = b.bus_V;
  f.supply_A = b.supply_A;
  f.dv_dt = (f.supply_A - f.legs_A - bus.across_S * f.bus_V - bus.across_A) * capacitance_inverse;

  AlphaBeta e{m.e_alpha_V, m.e_beta_V};
  if (Extras && m.swings != 0) [[unlikely]] {
    for (std::size_t k = 0; k < 3; ++k) {
      if (((m.swings >> k) & 1U) == 0U) continue;
      const AlphaBeta n = leg_axis[k];
      e.alpha += 2.0 / 3.0 * y.extra.leg_swing_V[k] * n.alpha;
      e.beta += 2.0 / 3.0 * y.extra.leg_swing_V[k] * n.beta;
      f.extra_dt.leg_swing_V[k] = -0.5 * leg_current(k, y) / par.bridge.output_capacitance_F;
    }
  }
  const double rhs_alpha = m.u_alpha * f.bus_V + e.alpha - m.r_aa_ohm * y.i_alpha -
                           m.r_ab_ohm * y.i_beta - t.back_V.alpha;
  const double rhs_beta =
      m.u_beta * f.bus_V + e.beta - m.r_ab_ohm * y.i_alpha - m.r_bb_ohm * y.i_beta - t.back_V.beta;
  if (m.freedom == 2) {
    const double inverse = 1.0 / (t.l_aa_H * t.l_bb_H - t.l_ab_H * t.l_ab_H);
    f.di_dt.alpha = inverse * (t.l_bb_H * rhs_alpha - t.l_ab_H * rhs_beta);
    f.di_dt.beta = inverse * (t.l_aa_H * rhs_beta - t.l_ab_H * rhs_alpha);
  } else if (m.freedom == 1) {
    const double l_d = t.l_aa_H * m.d_alpha * m.d_alpha + t.l_bb_H * m.d_beta * m.d_beta +
                       2.0 * t.l_ab_H * m.d_alpha * m.d_beta;
    const double rate = (m.d_alpha * rhs_alpha + m.d_beta * rhs_beta) / l_d;
    f.di_dt = {m.d_alpha * rate, m.d_beta * rate};
  }
  if constexpr (Extras) {
    for (std::size_t k = 0; k < inner_states; ++k)
      f.extra_dt.inner[k] = t.inner_rate[k] + t.inner_per_di[k][0] * f.di_dt.alpha +
                            t.inner_per_di[k][1] * f.di_dt.beta;
    if (s.machine.shorted) [[unlikely]]
      flow_of_shorts(y, f);
    if (bus.cable_share > 0.0)
      f.extra_dt.i_cable_A = (source_V(y, in) - s.source_ohm * y.extra.i_cable_A - f.bus_V) /
                             par.supply.cable_inductance_H;
    if (supply_law.regulated) {
      const LoopRates rates = loops(f.supply_A, f.bus_V, y, in);
      // While it feeds, which loop is the lower one is a mode of its own.
      f.extra_dt.supply_inner = s.supply_mode == SupplyMode::current_limit ? rates.current
                                : s.supply_mode == SupplyMode::voltage
                                    ? rates.voltage
                                    : std::min(rates.voltage, rates.current);
    }
  }

  if (!rigid) {
    const ShaftRates k =
        shaft_law.rates(shaft_point(y, t.torque_Nm), shaft_inputs(in), shaft_mode());
    f.domega_dt = k.omega;
    f.extra_dt.omega_2_rad_s = k.omega_2;
    f.extra_dt.twist_rad = k.twist;
  } else if (s.speed_held)
    f.domega_dt = s.held_speed_rad_s.rate_per_s;
  else if (s.rotation == 0 && coulomb_Nm > 0.0)
    f.domega_dt = 0.0;
  else
    f.domega_dt =
        (t.torque_Nm - drag_Nm(y.omega) - coulomb_Nm * s.rotation - in.load_Nm) * inertia_inverse;
  return f;
}

}  // namespace stillrotor::plant
