// Permanent-magnet machine with saturation: fluxes by a map (flux_map.hpp), equal phases.
//   on d and q:  v = R i + dpsi/dt + omega_e J psi,   J psi = (-psi_q, psi_d)
//   dpsi/dt = H di_dq/dt,  and seen from the stator  di_dq/dt = P di/dt + omega_e (i_q, -i_d),  so
//   L = P' H P,   back = R i + omega_e P' (H (i_q, -i_d) + J psi)
//   T = 3/2 p (psi_d i_q - psi_q i_d)
// with P the turn into the rotor frame and H the map's Hessian. What the magnets' flux is off the
// map's (temperature, demagnetisation) is added to psi_d as a whole: H stays. Harmonics of the
// back-EMF beyond the fundamental come on top as omega_e psi (g - (0, 1)), with their torque.
// Source  textbook (two-axis model with saturation), from memory; derived here for the stationary
//   frame; checked against CVODE and the linear machine (tests/reference).
// RT: at() is safe, O(1).
#pragma once

#include "plant/machine/emf_shape.hpp"
#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

class SaturatedMagnet {
 public:
  /// Throws FluxMapError.
  explicit SaturatedMagnet(const PermanentMagnetParameters& m)
      : map_(m.flux_map), shape_(m.back_emf), pole_pairs_(m.pole_pairs) {}

  const FluxMap& map() const noexcept { return map_; }
  const EmfShape& shape() const noexcept { return shape_; }

  TerminalLaw at(const Point& y, const MachineCondition& now) const noexcept {
    TerminalLaw out;
    const double omega_e = pole_pairs_ * y.omega, r = now.winding_ohm[0];
    const Dq i = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
    FluxMap::Values m = map_.at(i.d, i.q);
    m.psi_d += now.flux_linkage_Wb - map_.magnet_Wb();
    Dq extra;  // g beyond its fundamental, times psi
    if (!shape_.is_sine()) {
      const Pair g = shape_.on_rotor(y.theta);
      extra = {now.flux_linkage_Wb * g[0], now.flux_linkage_Wb * (g[1] - 1.0)};
    }
    const AlphaBeta motion = unpark({m.l_dd * i.q - m.l_dq * i.d - m.psi_q + extra.d,
                                     m.l_dq * i.q - m.l_qq * i.d + m.psi_d + extra.q},
                                    y.cos_e, y.sin_e);
    out.back_V = {r * y.i_alpha + omega_e * motion.alpha, r * y.i_beta + omega_e * motion.beta};
    const AlphaBeta magnets = unpark({extra.d, now.flux_linkage_Wb + extra.q}, y.cos_e, y.sin_e);
    out.emf_V = {omega_e * magnets.alpha, omega_e * magnets.beta};
    out.torque_Nm =
        1.5 * pole_pairs_ * (m.psi_d * i.q - m.psi_q * i.d + extra.d * i.d + extra.q * i.q);
    const double cc = y.cos_e * y.cos_e, ss = y.sin_e * y.sin_e, cs = y.cos_e * y.sin_e;
    out.l_aa_H = cc * m.l_dd - 2.0 * cs * m.l_dq + ss * m.l_qq;
    out.l_bb_H = ss * m.l_dd + 2.0 * cs * m.l_dq + cc * m.l_qq;
    out.l_ab_H = cs * (m.l_dd - m.l_qq) + (cc - ss) * m.l_dq;
    out.heat_W[0] = 1.5 * r * (y.i_alpha * y.i_alpha + y.i_beta * y.i_beta);
    return out;
  }

  /// Fundamental flux linkage on d and q, magnets included [Wb].
  Dq linkage_Wb(const Dq& i, const MachineCondition& now) const noexcept {
    const Dq psi = map_.flux(i.d, i.q);
    return {psi.d + now.flux_linkage_Wb - map_.magnet_Wb(), psi.q};
  }
  /// at()'s torque alone; psi: linkage_Wb() there.
  double torque_Nm(const Point& y, const Dq& i, const Dq& psi,
                   const MachineCondition& now) const noexcept {
    double per_flux = psi.d * i.q - psi.q * i.d;
    if (!shape_.is_sine())
      per_flux +=
          now.flux_linkage_Wb * dot(shape_.on_rotor(y.theta) - pair(0.0, 1.0), pair(i.d, i.q));
    return 1.5 * pole_pairs_ * per_flux;
  }
  /// Energy in the field less what it is at no current [J]: i . psi - W'.
  double stored_J(const Point& y) const noexcept {
    const Dq i = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
    return 1.5 * map_.field_J(i.d, i.q);
  }
  /// Bound on |torque| at any angle for current no larger than i_A [N m].
  double torque_bound_Nm(double i_A, const MachineCondition& now) const noexcept {
    return 1.5 * pole_pairs_ *
           (now.flux_linkage_Wb * (1.0 + shape_.peak()) + map_.inductance_max_H() * i_A) * i_A;
  }

 private:
  FluxMap map_;
  EmfShape shape_;
  double pole_pairs_;
};

}  // namespace stillrotor::plant
