// What follows a step of the inner loop: the link at its ends, sensors with a memory, heat, tally.
// Lean: a plain machine, and nothing with a memory but it and its phase-current sensors.
//
// RT  safe.
#pragma once

#include "plant/glide_law.hpp"

namespace stillrotor::plant {

/// An end of a step, with the currents of the phases and what the link has there.
struct Drive::Impl::GlideEnd {
  Glided y;
  PhasePairs A;
  LinkProbe link;

  GlideEnd() = default;
  explicit GlideEnd(const Glided& at) noexcept : y(at), A(at.i_A) {}
};

inline Point Drive::Impl::point_at(const Glided& y) noexcept {
  return {y.i_A[0], y.i_A[1], y.v_cap(), y.omega(), y.theta, y.magnet[0], y.magnet[1], {}, 0.0};
}

/// What a step burns (thermal/step_heat.cpp), of the sums that the tally asks for as well.
struct Drive::Impl::GlideHeat {
  double winding_J, iron_J, friction_J;
  double squares_A2s;
  double third_s, half_s;  // of the step
  Pair legs_u_v_J(const ConductionMode& m, const Tally::Sums& sums) const noexcept {
    return both(third_s) * (loaded(&m.leg_ohm[0]) * sums.three_u_v) -
           both(half_s) * (loaded(&m.leg_V[0]) * sums.two_u_v);
  }
  double leg_w_J(const ConductionMode& m, const Tally::Sums& sums) const noexcept {
    return third_s * (m.leg_ohm[2] * sums.three_w) - half_s * (m.leg_V[2] * sums.two_w);
  }
};

[[gnu::always_inline]] inline Drive::Impl::GlideHeat Drive::Impl::glide_heat(
    const GlideLaw& law, const Glided& from, const Glided& to, const Tally::Sums& sums,
    double h) const noexcept {
  const double third = h * (1.0 / 3.0);
  const double squares = third * (sums.three_u_v[0] + sums.three_u_v[1] + sums.three_w);
  const double twice = std::abs(from.omega() + to.omega());
  return {law.winding_ohm * squares,
          h * to.iron_W,
          h * twice * (0.25 * shaft_law.viscous * twice + 0.5 * coulomb_Nm),
          squares,
          third,
          0.5 * h};
}

// Without a cable and a supply of its own mind.
[[gnu::always_inline]] inline LinkProbe Drive::Impl::plain_link(const GlideLaw& law, Pair i_A,
                                                                double v_cap_V) const noexcept {
  const double along_A = dot(pair(mode->u_alpha, mode->u_beta), i_A);
  const double bus_V = bus.from_cap * v_cap_V + bus.per_along_ohm * along_A + law.volts;
  return {bus_V, bus.per_supply_S * (law.source_V - bus_V) + bus.constant_A,
          1.5 * along_A + mode->shoot_S * bus_V};
}

// A step that nobody has to look at.
template <bool Lean>
[[gnu::always_inline]] inline void Drive::Impl::enter(Tally& tally, const GlideLaw& law,
                                                      const GlideEnd& from, const GlideEnd& to,
                                                      const Tally::Sums& sums,
                                                      double h) const noexcept {
  const double before_V = tally.end.w_bus[1];
  tally.add({to.A.u_v, pair(to.A.w, to.link.bus_V), pair(to.link.supply_A, to.y.torque_Nm),
             to.link.bridge_A},
            h, sums);
  tally.end_at(to.y.i_A[0], to.y.i_A[1]);
  if (!Lean && warms) return tally.warm(latest_heat);

  const ConductionMode& m = *mode;
  const GlideHeat heat = glide_heat(law, from.y, to.y, sums, h);
  tally.heat.winding_J += heat.winding_J;
  double legs_J = m.r_aa_ohm * heat.squares_A2s;
  if (m.legs != LegsDiffer::no) {
    const Pair u_v_J = heat.legs_u_v_J(m, sums);
    legs_J = (u_v_J[0] + u_v_J[1]) + heat.leg_w_J(m, sums);
  }
  if (m.shoot_S > 0.0) [[unlikely]]
    legs_J += h * m.shoot_S * mean_square(before_V, to.link.bus_V);
  tally.heat.legs_J += legs_J;
  tally.heat.friction_J += heat.friction_J;
  if (!Lean && mapped) tally.heat.iron_J += heat.iron_J;
}

/// As follow_heat().
[[gnu::always_inline]] inline void Drive::Impl::warm(const GlideLaw& law, const GlideEnd& from,
                                                     const GlideEnd& to, const Tally::Sums& sums,
                                                     double h) noexcept {
  if (mode->shoot_S > 0.0) [[unlikely]]
    return follow_heat(point_at(from.y), point_at(to.y), h);
  const GlideHeat heat = glide_heat(law, from.y, to.y, sums, h);
  const Pair u_v_J = heat.legs_u_v_J(*mode, sums);
  const double w_J = heat.leg_w_J(*mode, sums);
  take_heat({{.winding_J = heat.winding_J,
              .iron_J = heat.iron_J,
              .legs_J = u_v_J[0] + u_v_J[1] + w_J,
              .friction_J = heat.friction_J},
             {u_v_J[0], u_v_J[1], w_J}});
}

/// As follow_phase_currents().
template <bool Lean>
[[gnu::always_inline]] inline void Drive::Impl::sense(const PhasePairs& from_A,
                                                      const PhasePairs& to_A, double h) noexcept {
  if (!analog.follows_phases) return;
  if (analog.phase_current.limits_slew()) return follow_phase_currents(from_A, to_A, h);
  const LagStep& lag = analog.lags.of<Lean>(h).phase_current;
  SeenCurrent* const seen = s.analog.phase;
  Pair u_v = pair(seen[0].output_A, seen[1].output_A);
  if (analog.even_phases && analog.phase_current.plain()) {
    u_v = lag(u_v, from_A.u_v, to_A.u_v);
    seen[2].output_A = -(u_v[0] + u_v[1]);  // lags of one time constant: they add up as currents do
  } else {
    const auto share = [this](std::size_t k) {
      return analog.seen_share[static_cast<std::size_t>(s.leg[k])];
    };
    const Pair share_u_v = pair(share(0), share(1));
    const double share_w = share(2);
    Pair played = pair(seen[0].played_A, seen[1].played_A);
    analog.phase_current.step_unlimited(played, u_v, share_u_v * from_A.u_v, share_u_v * to_A.u_v,
                                        h, lag);
    analog.phase_current.step_unlimited(seen[2].played_A, seen[2].output_A, share_w * from_A.w,
                                        share_w * to_A.w, h, lag);
    seen[0].played_A = played[0];
    seen[1].played_A = played[1];
  }
  seen[0].output_A = u_v[0];
  seen[1].output_A = u_v[1];
}

/// All that has a memory, over a step in one mode.
template <bool Lean>
[[gnu::always_inline]] inline void Drive::Impl::follow(const GlideLaw& law, const GlideEnd& from,
                                                       const GlideEnd& to, const Tally::Sums& sums,
                                                       double h) noexcept {
  sense<Lean>(from.A, to.A, h);
  if constexpr (Lean) return;
  if (analog.follows_rest) {
    const ConductionMode& m = *mode;
    const auto seen = [&m](const GlideEnd& at) {
      return SeenByRest{at.link.bridge_A, at.link.bus_V,
                        loaded(&m.leg_share[0]) * both(at.link.bus_V) + loaded(&m.leg_V[0]) -
                            loaded(&m.leg_ohm[0]) * at.A.u_v,
                        m.leg_share[2] * at.link.bus_V + m.leg_V[2] - m.leg_ohm[2] * at.A.w};
    };
    follow_rest(seen(from), seen(to), h, analog.lags.of(h));
  }
  if (warms) warm(law, from, to, sums, h);
}

}  // namespace stillrotor::plant
