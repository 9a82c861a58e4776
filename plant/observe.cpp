// What an ideal observer and the sensors see.
#include "plant/floating_leg.hpp"
#include "plant/flow.hpp"
#include "plant/shaped_step.hpp"

namespace stillrotor::plant {
namespace {
constexpr double seconds_per_ps = 1e-12;

double cubic_hermite(double y0, double slope0, double y1, double slope1, double x) noexcept {
  const double rise = y1 - y0;
  const double a = slope0 + slope1 - 2.0 * rise, b = 3.0 * rise - 2.0 * slope0 - slope1;
  return y0 + x * (slope0 + x * (b + x * a));
}

double seconds_since(const Continuous& c, const Continuous& reference) noexcept {
  return static_cast<double>(c.time_ps - reference.time_ps) * seconds_per_ps + c.offset_s -
         reference.offset_s;
}
}  // namespace

Snapshot Drive::Impl::snapshot(const Point& y, double into_step_s) const noexcept {
  const Drivers in = drivers(into_step_s);
  Snapshot out;
  out.current_A = phases({y.i_alpha, y.i_beta});
  out.current_dq_A = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
  BusFlow link;
  const bool beside_floating = glides_beside_floating && mode->freedom == 1 && mode->floating;
  if ((mode->freedom == 2 && mode->swings == 0) || beside_floating) {
    // No terminal asks how the currents move on.
    link = flow_of_bus(*mode, y, in);
    out.torque_Nm =
        glide_by == GlideBy::plain ? plain_torque_Nm(out.current_dq_A) : machine_torque_Nm(y);
    out.terminal_V = leg_terminals(out.current_A, link.bus_V);
    if (beside_floating) {
      const std::size_t leg = floating_leg();
      at(out.terminal_V, leg) =
          FloatingLeg(*this, *mode, leg)
              .terminal_V(pair(y.i_alpha, y.i_beta), y.omega,
                          shaped_emf(y.theta, pair(y.cos_e, y.sin_e)).Wb, link.bus_V);
    }
  } else {
    const Flow f = flow(*mode, y, in);
    link = {f.legs_A, f.bus_V, f.supply_A};
    out.torque_Nm = f.machine.torque_Nm;
    out.terminal_V = terminals(legs(), y, f);
  }
  out.back_emf_V = machine.emf_V(y, s.machine);
  out.winding_A = machine.windings_A(y, s.machine);
  out.bus_V = link.bus_V;
  out.supply_A = link.supply_A;
  out.bridge_A = link.legs_A + shorted_A(link.bus_V);
  out.machine_J = machine_energy_J(y);
  const ShaftPoint at = shaft_point(y, out.torque_Nm);
  const ShaftRates shaft = shaft_law.rates(at, shaft_inputs(in), shaft_mode());
  out.load_Nm = shaft.load_Nm;
  out.through_Nm = shaft.through_Nm;
  out.omega_m_rad_s = y.omega;
  out.omega_2_rad_s = at.omega_2;
  out.vehicle_m_s = at.omega_2 * shaft_law.lever_m;
  out.theta_m_rad = theta_m(y.theta);
  out.theta_e_rad = y.theta - two_pi * std::floor(y.theta / two_pi);
  const std::array<Conduction, 3> leg = legs();
  out.shoot_through = std::any_of(leg.begin(), leg.end(), shorts_the_bus);
  return out;
}

Snapshot Drive::snapshot() const noexcept { return impl_->snapshot(impl_->point(), 0.0); }

Snapshot Drive::inside(const Segment& segment, double tau_s) const noexcept {
  const Impl& d = *impl_;
  const double h = segment.length_s, x = tau_s / h;
  const double to_begin = seconds_since(*segment.begin, d.s);
  const Point b = point_of(*segment.end);
  if (tau_s == h) return d.snapshot(b, to_begin + h);
  if (d.may_glide() && d.series_reaches(*segment.begin) && d.series_reaches(*segment.end))
    return d.snapshot(d.glided(*segment.begin, tau_s), to_begin + tau_s);
  const Point a = point_of(*segment.begin);
  const bool extras = !d.fast || d.mode->swings != 0;
  const auto flow_at = [&](const Point& y, double into_step_s) {
    const Drivers in = d.drivers(into_step_s);
    return extras ? d.flow<true>(*d.mode, y, in) : d.flow<false>(*d.mode, y, in);
  };
  const Flow fa = flow_at(a, to_begin), fb = flow_at(b, to_begin + h);
  Point y;
  y.i_alpha = cubic_hermite(a.i_alpha, h * fa.di_dt.alpha, b.i_alpha, h * fb.di_dt.alpha, x);
  y.i_beta = cubic_hermite(a.i_beta, h * fa.di_dt.beta, b.i_beta, h * fb.di_dt.beta, x);
  y.v_cap = cubic_hermite(a.v_cap, h * fa.dv_dt, b.v_cap, h * fb.dv_dt, x);
  y.omega = cubic_hermite(a.omega, h * fa.domega_dt, b.omega, h * fb.domega_dt, x);
  y.theta = cubic_hermite(a.theta, h * d.p * a.omega, b.theta, h * d.p * b.omega, x);
  rotate(y.theta - a.theta, a.cos_e, a.sin_e, y.cos_e, y.sin_e);
  y.extra = a.extra;
  if (extras) {
    for (double Extra::*state :
         {&Extra::i_cable_A, &Extra::supply_inner, &Extra::twist_rad, &Extra::omega_2_rad_s})
      y.extra.*state = cubic_hermite(a.extra.*state, h * (fa.extra_dt.*state), b.extra.*state,
                                     h * (fb.extra_dt.*state), x);
    for (std::size_t k = 0; k < inner_states; ++k)
      y.extra.inner[k] = cubic_hermite(a.extra.inner[k], h * fa.extra_dt.inner[k], b.extra.inner[k],
                                       h * fb.extra_dt.inner[k], x);
    for (std::size_t k = 0; k < short_count; ++k)
      y.extra.short_A[k] = cubic_hermite(a.extra.short_A[k], h * fa.extra_dt.short_A[k],
                                         b.extra.short_A[k], h * fb.extra_dt.short_A[k], x);
    for (std::size_t k = 0; k < 3; ++k)
      y.extra.leg_swing_V[k] =
          cubic_hermite(a.extra.leg_swing_V[k], h * fa.extra_dt.leg_swing_V[k],
                        b.extra.leg_swing_V[k], h * fb.extra_dt.leg_swing_V[k], x);
  }
  return d.snapshot(y, to_begin + tau_s);
}

Probe Drive::Impl::probe(const Continuous& c) const noexcept {
  const Drivers in = ramping ? drivers(seconds_since(c, s)) : at_rest;
  const LinkProbe link = probe_link(c, in);
  return {phases({c.i_alpha_A, c.i_beta_A}), link.bus_V, link.supply_A, link.bridge_A,
          glide_by == GlideBy::plain
              ? plain_torque_Nm(park({c.i_alpha_A, c.i_beta_A}, c.cos_e, c.sin_e))
              : machine_torque_Nm(point_of(c))};
}
Probe Drive::probe(const Continuous& c) const noexcept { return impl_->probe(c); }

LinkProbe Drive::probe_link(const Continuous& c) const noexcept {
  const Impl& d = *impl_;
  return d.probe_link(c, d.ramping ? d.drivers(seconds_since(c, d.s)) : d.at_rest);
}

double Drive::stored_J() const noexcept {
  const Impl& d = *impl_;
  const double v = d.s.v_cap_V, i = d.s.extra.i_cable_A;
  double swing_V2 = 0.0;  // of each leg about half the bus, two capacitances each
  for (const double w : d.s.extra.leg_swing_V) swing_V2 += w * w;
  return machine_energy_J() + 0.5 * d.par.dc_link.capacitance_F * v * v +
         0.5 * d.par.supply.cable_inductance_H * i * i +
         d.par.bridge.output_capacitance_F * swing_V2;
}

std::array<double, 3> Drive::linkage_Wb() const noexcept {
  return impl_->machine.linkage_Wb(impl_->point(), impl_->s.machine);
}

bool Drive::level(SensorLine line) const noexcept {
  return (impl_->s.sensor_levels >> static_cast<int>(line)) & 1U;
}

}  // namespace stillrotor::plant
