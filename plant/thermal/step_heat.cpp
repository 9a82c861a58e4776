// What one step turned into heat. Currents are straight lines in a step, so squares of equal
// windings and of the legs are exact for them; speed, and with it iron and friction, stands at its
// mean. Other machines are asked at two points of the step (Gauss), exact for squares as well.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

/// A share of the way from one point to the other.
Point between(const Point& a, const Point& b, double x) noexcept {
  const auto mix = [x](double from, double to) { return from + x * (to - from); };
  Point y = a;
  y.i_alpha = mix(a.i_alpha, b.i_alpha);
  y.i_beta = mix(a.i_beta, b.i_beta);
  y.v_cap = mix(a.v_cap, b.v_cap);
  y.omega = mix(a.omega, b.omega);
  y.theta = mix(a.theta, b.theta);
  y.cos_e = mix(a.cos_e, b.cos_e);
  y.sin_e = mix(a.sin_e, b.sin_e);
  for (std::size_t k = 0; k < inner_states; ++k)
    y.extra.inner[k] = mix(a.extra.inner[k], b.extra.inner[k]);
  for (std::size_t k = 0; k < short_count; ++k)
    y.extra.short_A[k] = mix(a.extra.short_A[k], b.extra.short_A[k]);
  y.extra.twist_rad = mix(a.extra.twist_rad, b.extra.twist_rad);
  y.extra.omega_2_rad_s = mix(a.extra.omega_2_rad_s, b.extra.omega_2_rad_s);
  return y;
}

Phases line_A(const Point& y) noexcept { return phases({y.i_alpha, y.i_beta}); }

}  // namespace

// Of a grounded leg only the switch's own share, by the current through it: the rest burns where
// the terminal touches.
double Drive::Impl::leg_J(std::size_t k, const Point& from, const Point& to,
                          double h) const noexcept {
  const LegLaw& leg = law(s.leg[k]);
  const double a = leg_current(k, from), b = leg_current(k, to), mean_A = 0.5 * (a + b);
  double heat_W = 0.0;
  if (is_grounded(s.leg[k])) [[unlikely]] {
    const bool high = s.leg[k] == Conduction::grounded_high;
    const double through_A = mean_A + (high ? leg_ground_A(k, to, to.v_cap) : 0.0);
    if (s.leg[k] != Conduction::grounded)
      heat_W = par.bridge.switch_on_resistance_ohm * through_A * through_A;
  } else {
    heat_W = leg.r_ohm * mean_square(a, b) - leg.e_V * mean_A;
  }
  if (shorts_the_bus(s.leg[k])) [[unlikely]] {
    const auto bus_V = [this](const Point& y) {
      return flow_of_bus(*mode, y, ramping ? drivers(0.0) : at_rest).bus_V;
    };
    heat_W += 0.5 / par.bridge.switch_on_resistance_ohm * mean_square(bus_V(from), bus_V(to));
  }
  return h * heat_W;
}

double Drive::Impl::plain_legs_J(const Phases& from_A, const Phases& to_A,
                                 double h) const noexcept {
  const double from[3] = {from_A.U, from_A.V, from_A.W}, to[3] = {to_A.U, to_A.V, to_A.W};
  double heat_W = 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    const LegLaw& leg = law(s.leg[k]);
    heat_W += leg.r_ohm * mean_square(from[k], to[k]) - leg.e_V * 0.5 * (from[k] + to[k]);
  }
  return h * heat_W;
}

StepHeat Drive::Impl::machine_heat(const Point& from, const Point& to, double h) const noexcept {
  StepHeat out;
  if (Machine::plain(s.machine) || (mapped && !s.machine.shorted)) {
    const Phases a = line_A(from), b = line_A(to);
    out.winding_J = h * s.machine.winding_ohm[0] *
                    (mean_square(a.U, b.U) + mean_square(a.V, b.V) + mean_square(a.W, b.W));
    if (machine.iron().any()) {
      const Dq i = park({from.i_alpha, from.i_beta}, from.cos_e, from.sin_e);
      const Dq j = park({to.i_alpha, to.i_beta}, to.cos_e, to.sin_e);
      out.iron_J = h * machine.iron_W({0.5 * (i.d + j.d), 0.5 * (i.q + j.q)},
                                      0.5 * (from.omega + to.omega), s.machine);
    }
    return out;
  }
  constexpr double aside = 0.28867513459481287;  // sqrt(3) / 6
  for (const double x : {0.5 - aside, 0.5 + aside}) {
    const TerminalLaw law = machine.at(between(from, to, x), s.machine);
    out.winding_J += 0.5 * h * law.heat_W[0];
    out.rotor_J += 0.5 * h * law.heat_W[1];
    out.iron_J += 0.5 * h * law.heat_W[2];
  }
  return out;
}

double Drive::Impl::friction_J(const Point& from, const Point& to, double h) const noexcept {
  const Point middle = between(from, to, 0.5);
  if (rigid)
    return h *
           (shaft_law.viscous * middle.omega * middle.omega + coulomb_Nm * std::abs(middle.omega));
  const ShaftPoint at = shaft_point(middle, machine_torque_Nm(middle));
  const ShaftInputs in = shaft_inputs(ramping ? drivers(0.0) : at_rest);
  const ShaftMode now = shaft_mode();
  return h * shaft_law.powers(at, in, now, shaft_law.rates(at, in, now)).heat_W;
}

StepHeat Drive::heat(const Segment& segment) const noexcept {
  const Impl& d = *impl_;
  const Point from = point_of(*segment.begin), to = point_of(*segment.end);
  const double h = segment.length_s;
  if (d.smooth) {
    const auto end = [&d](const Point& y) {
      return Impl::PlainEnd{line_A(y), y.omega, d.flow_of_bus(*d.mode, y, d.at_rest).bus_V};
    };
    return d.plain_heat(end(from), end(to), h);
  }
  StepHeat out = d.machine_heat(from, to, h);
  for (std::size_t k = 0; k < 3; ++k) out.legs_J += d.leg_J(k, from, to, h);
  out.friction_J = d.friction_J(from, to, h);
  return out;
}

}  // namespace stillrotor::plant
