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

std::array<double, 3> Drive::Impl::legs_J(const Point& from, const Point& to,
                                          double h) const noexcept {
  if (s.grounded >= 0 || mode->shoot_S > 0.0) [[unlikely]]
    return {leg_J(0, from, to, h), leg_J(1, from, to, h), leg_J(2, from, to, h)};
  const Phases a = line_A(from), b = line_A(to);
  const auto of = [&](std::size_t k, double from_A, double to_A) {
    return h *
           (mode->leg_ohm[k] * mean_square(from_A, to_A) - mode->leg_V[k] * 0.5 * (from_A + to_A));
  };
  return {of(0, a.U, b.U), of(1, a.V, b.V), of(2, a.W, b.W)};
}

StepHeat Drive::Impl::machine_heat(const Point& from, const Point& to, double h) const noexcept {
  StepHeat out;
  const MachineCondition& now = s.machine;
  if (now.model != MachineModel::induction && !now.shorted) {
    // A delta that is computed winding by winding; else it is its equivalent star.
    const bool loop =
        now.model == MachineModel::phase_magnet && par.machine.connection == Connection::delta;
    const Phases a = loop ? machine.windings_A(from, now) : line_A(from);
    const Phases b = loop ? machine.windings_A(to, now) : line_A(to);
    out.winding_J =
        h * (loop ? 3.0 : 1.0) *
        (now.winding_ohm[0] * mean_square(a.U, b.U) + now.winding_ohm[1] * mean_square(a.V, b.V) +
         now.winding_ohm[2] * mean_square(a.W, b.W));
    if (machine.iron().any()) {
      const Dq i = park({from.i_alpha, from.i_beta}, from.cos_e, from.sin_e);
      const Dq j = park({to.i_alpha, to.i_beta}, to.cos_e, to.sin_e);
      out.iron_J = h * machine.iron_W({0.5 * (i.d + j.d), 0.5 * (i.q + j.q)},
                                      0.5 * (from.omega + to.omega), now);
    }
    return out;
  }
  constexpr double aside = 0.28867513459481287;  // sqrt(3) / 6
  for (const double x : {0.5 - aside, 0.5 + aside}) {
    const TerminalLaw law = machine.at(between(from, to, x), now);
    out.winding_J += 0.5 * h * law.heat_W[0];
    out.rotor_J += 0.5 * h * law.heat_W[1];
    out.iron_J += 0.5 * h * law.heat_W[2];
  }
  return out;
}

double Drive::Impl::friction_J(const Point& from, const Point& to, double h) const noexcept {
  if (rigid) {
    const double omega = 0.5 * (from.omega + to.omega);
    return h * (shaft_law.viscous * omega * omega + coulomb_Nm * std::abs(omega));
  }
  const Point middle = between(from, to, 0.5);
  const ShaftPoint at = shaft_point(middle, machine_torque_Nm(middle));
  const ShaftInputs in = shaft_inputs(ramping ? drivers(0.0) : at_rest);
  const ShaftMode now = shaft_mode();
  return h * shaft_law.powers(at, in, now, shaft_law.rates(at, in, now)).heat_W;
}

Drive::Impl::HeatOfStep Drive::Impl::plain_heat(const Phases& from_A, const Phases& to_A,
                                                double omega, double h) const noexcept {
  const Phases square{mean_square(from_A.U, to_A.U), mean_square(from_A.V, to_A.V),
                      mean_square(from_A.W, to_A.W)};
  const auto leg_J = [&](std::size_t k, double mean_square_A2, double a, double b) {
    return h * (mode->leg_ohm[k] * mean_square_A2 - mode->leg_V[k] * 0.5 * (a + b));
  };
  HeatOfStep out;
  out.all.winding_J =
      h * (s.machine.winding_ohm[0] * square.U + s.machine.winding_ohm[1] * square.V +
           s.machine.winding_ohm[2] * square.W);
  out.legs_J = {leg_J(0, square.U, from_A.U, to_A.U), leg_J(1, square.V, from_A.V, to_A.V),
                leg_J(2, square.W, from_A.W, to_A.W)};
  out.all.legs_J = out.legs_J[0] + out.legs_J[1] + out.legs_J[2];
  out.all.friction_J = h * (shaft_law.viscous * omega * omega + coulomb_Nm * std::abs(omega));
  return out;
}

Drive::Impl::HeatOfStep Drive::Impl::step_heat(const Point& from, const Point& to,
                                               double h) const noexcept {
  if (heats_plainly())
    return plain_heat(line_A(from), line_A(to), 0.5 * (from.omega + to.omega), h);
  HeatOfStep out{machine_heat(from, to, h), legs_J(from, to, h)};
  if (s.link_held) [[unlikely]] {
    const LinkHold hold = link_hold();
    const auto power_W = [&](const Point& y) {
      const double bus_V = flow_of_bus(*mode, y, ramping ? drivers(0.0) : at_rest).bus_V;
      return hold.S * (bus_V + hold.V) * bus_V;
    };
    const double hold_J = 0.5 * h * (power_W(from) + power_W(to));
    for (double& leg : out.legs_J) leg += hold_J / 3.0;
  }
  out.all.legs_J = out.legs_J[0] + out.legs_J[1] + out.legs_J[2];
  out.all.friction_J = friction_J(from, to, h);
  return out;
}

StepHeat Drive::heat(const Segment& segment) const noexcept {
  const Impl& d = *impl_;
  if (d.warms) return d.latest_heat;
  if (d.heats_plainly()) {
    const Continuous &from = *segment.begin, &to = *segment.end;
    return d
        .plain_heat(phases({from.i_alpha_A, from.i_beta_A}), phases({to.i_alpha_A, to.i_beta_A}),
                    0.5 * (from.omega_m_rad_s + to.omega_m_rad_s), segment.length_s)
        .all;
  }
  return d.step_heat(point_of(*segment.begin), point_of(*segment.end), segment.length_s).all;
}

}  // namespace stillrotor::plant
