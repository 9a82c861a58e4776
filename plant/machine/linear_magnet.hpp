// Permanent-magnet machine with constant L_d, L_q, equal phases, in the stationary frame:
//   L(theta) di/dt = v - R i - omega_e L'(theta) i - omega_e psi g(theta)
//   L(theta) = L0 1 + L2 S,  S = [cos 2theta, sin 2theta; sin 2theta, -cos 2theta],
//              L0 = (L_d + L_q)/2, L2 = (L_d - L_q)/2
//   T = 3/2 p (psi g . i + 1/2 i . L' i)
// Source: textbook (salient permanent-magnet machine in the stationary frame), from memory; checked
//   against the same machine written in phase quantities (tests/reference).
// RT: at() is safe, O(1).
#pragma once

#include "plant/machine/emf_shape.hpp"
#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

class LinearMagnet {
 public:
  explicit LinearMagnet(const PermanentMagnetParameters& m)
      : shape_(m.back_emf),
        pole_pairs_(m.pole_pairs),
        l0_(0.5 * (m.inductance_d_H + m.inductance_q_H)),
        l2_(0.5 * (m.inductance_d_H - m.inductance_q_H)) {}

  const EmfShape& shape() const noexcept { return shape_; }

  [[gnu::always_inline]] TerminalLaw at(const Point& y,
                                        const MachineCondition& now) const noexcept {
    TerminalLaw out;
    const double omega_e = pole_pairs_ * y.omega, psi = now.flux_linkage_Wb, r = now.winding_ohm[0];
    const double c2 = y.cos_e * y.cos_e - y.sin_e * y.sin_e, s2 = 2.0 * y.sin_e * y.cos_e;
    const AlphaBeta g = shape_(y.theta, y.cos_e, y.sin_e);
    out.emf_V = {omega_e * psi * g.alpha, omega_e * psi * g.beta};
    // half of L' i
    const double m_alpha = l2_ * (-s2 * y.i_alpha + c2 * y.i_beta);
    const double m_beta = l2_ * (c2 * y.i_alpha + s2 * y.i_beta);
    out.back_V = {r * y.i_alpha + 2.0 * omega_e * m_alpha + out.emf_V.alpha,
                  r * y.i_beta + 2.0 * omega_e * m_beta + out.emf_V.beta};
    out.torque_Nm =
        1.5 * pole_pairs_ *
        (psi * (g.alpha * y.i_alpha + g.beta * y.i_beta) + y.i_alpha * m_alpha + y.i_beta * m_beta);
    out.l_aa_H = l0_ + l2_ * c2;
    out.l_ab_H = l2_ * s2;
    out.l_bb_H = l0_ - l2_ * c2;
    out.heat_W[0] = 1.5 * r * (y.i_alpha * y.i_alpha + y.i_beta * y.i_beta);
    return out;
  }

  /// Energy in the winding's field, the magnets' own left out [J].
  double stored_J(const Point& y) const noexcept {
    const Dq i = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
    return 0.75 * ((l0_ + l2_) * i.d * i.d + (l0_ - l2_) * i.q * i.q);
  }
  /// Bound on |torque| at any angle for current no larger than i_A [N m].
  double torque_bound_Nm(double i_A, const MachineCondition& now) const noexcept {
    const double span = l2_ < 0.0 ? -l2_ : l2_;
    return 1.5 * pole_pairs_ * (now.flux_linkage_Wb * shape_.peak() * i_A + span * i_A * i_A);
  }

 private:
  EmfShape shape_;
  double pole_pairs_, l0_, l2_;
};

}  // namespace stillrotor::plant
