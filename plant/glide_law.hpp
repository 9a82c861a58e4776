// What the inner loop goes by: where a step begins and ends, and what stays the same from step to
// step while nothing but plain gates change.
// Units  as named. RT: safe.
#pragma once

#include "plant/bus_watch.hpp"
#include "plant/flow.hpp"

namespace stillrotor::plant {

/// What a stretch without a step's own events and one end of it ask for.
struct Drive::Impl::Glided {
  Pair i_A;     // alpha, beta
  Pair vw;      // capacitor voltage [V] and speed [rad/s]
  Pair magnet;  // cosine and sine of theta
  double theta, torque_Nm;
  // Of a step's end, and only there:
  Pair i_dq_A;
  double iron_W;  // lost in that step
  Pair emf_Wb;    // where glide_by is shape: back-EMF over electrical speed, alpha, beta
  double v_cap() const noexcept { return vw[0]; }
  double omega() const noexcept { return vw[1]; }
};

struct Drive::Impl::PhasePairs {
  Pair u_v;
  double w;

  PhasePairs() = default;
  explicit PhasePairs(Pair i_A) noexcept {  // as phases()
    const double a = -0.5 * i_A[0], b = 0.5 * sqrt3 * i_A[1];
    u_v = pair(i_A[0], a + b);
    w = a - b;
  }
  operator Phases() const noexcept { return {u_v[0], u_v[1], w}; }
};

/// What stays the same from step to step while nothing but plain gates change.
struct Drive::Impl::GlideLaw {
  Pair still, own, by;         // d(v, w)/dt = still + own (v, w) + by (u . i, torque over 3/2 p)
  Pair per_turn;               // 1/L_d - 1/L_q, twice
  Pair magnets_Wb, magnets_A;  // of the magnets (on their axis): flux linkage, and over L_d
  Pair magnets_turn_A;         // of the latter, a quarter turn on
  double drag_gain;            // d|w|w/dt of drag by speed squared
  double torque_gain, winding_ohm;
  double source_V;  // of the supply
  double volts;     // at the bridge, of the supply alone
  double stops;     // the rotation that friction ends at zero speed; 0: none
  std::int8_t rotation;
  double shoot_S;
  BusWatch watch;               // where watches_supply
  Pair calm_from_A, calm_to_A;  // of i_dq, where watch_machine() has nothing to do; if watched
  // Of a saturated machine:
  double gain;                 // of speed by torque
  Pair off_map_Wb;             // what the magnets' flux is off the map's
  double near_A2;              // square of what is near enough to stop looking for a current
  double nearest_A2;           // and by the begin's inductances alone
  mutable FluxMapPiece piece;  // where the map was looked at last

  bool calm(Pair i_dq_A) const noexcept {
    const Pair inside = lesser(i_dq_A - calm_from_A, calm_to_A - i_dq_A);
    return inside[0] >= 0.0 && inside[1] >= 0.0;  // not where one is no number
  }
};

inline Drive::Impl::GlideLaw Drive::Impl::glide_law() const noexcept {
  GlideLaw l;
  const bool moves = !s.speed_held && !(s.rotation == 0 && coulomb_Nm > 0.0);
  const double gain = moves ? inertia_inverse : 0.0, psi_Wb = s.machine.flux_linkage_Wb;
  l.drag_gain = gain * quadratic_Nm_s2;
  l.torque_gain = 1.5 * p;
  l.winding_ohm = s.machine.winding_ohm[0];
  l.per_turn = both(rotor.inverse[0] - rotor.inverse[1]);
  l.magnets_Wb = pair(psi_Wb, 0.0);
  l.magnets_A = l.magnets_Wb * rotor.inverse;
  l.magnets_turn_A = swapped(l.magnets_A);
  l.source_V = at_rest.supply_V;
  l.volts = bus.from_supply * at_rest.supply_V + bus.constant_V;
  l.still =
      pair(bus.cap_per_supply_V * at_rest.supply_V + bus.cap_constant + bus.cap_per_V * l.volts,
           (s.speed_held ? s.held_speed_rad_s.rate_per_s : 0.0) -
               gain * (coulomb_Nm * s.rotation + at_rest.load_Nm));
  l.own = pair(bus.cap_per_cap, -gain * shaft_law.viscous);
  l.by = pair(bus.cap_per_along, gain * (1.5 * p));
  l.stops = rigid && coulomb_Nm > 0.0 && !s.speed_held ? s.rotation : 0.0;
  l.rotation = s.rotation;
  l.shoot_S = mode->shoot_S;
  if (watches_supply) l.watch = bus_watch();
  if (watched) {
    constexpr double any_A = 1e300;
    const FluxMap* const map = machine.flux_map();
    l.calm_from_A = pair(s.machine.knee_A, -any_A);
    l.calm_to_A = both(any_A);
    if (map) {
      l.calm_from_A = greater(l.calm_from_A, pair(map->d_axis().least(), map->q_axis().least()));
      l.calm_to_A = pair(map->d_axis().most(), map->q_axis().most());
    }
  }
  if (mapped) {
    const FluxMap& map = *machine.flux_map();
    constexpr double near =
        1e-5;  // of the map's span; the square of that is left, by its curvature
    l.gain = gain;
    l.off_map_Wb = pair(psi_Wb - map.magnet_Wb(), 0.0);
    l.near_A2 = near * near * map.q_axis().span() * map.q_axis().span();
    l.nearest_A2 = 1e-4 * l.near_A2;
    l.piece = FluxMapPiece(map);
  }
  return l;
}

}  // namespace stillrotor::plant
