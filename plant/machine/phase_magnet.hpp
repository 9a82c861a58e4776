// Permanent-magnet machine winding by winding: unequal phases in star, or delta with its
// circulating current. Constant inductances. Windings  star: 1, 2, 3 = U, V, W to the star point.
// Delta: 1, 2, 3 = U-V, V-W, W-U.
//   v_k = R_k i_k + n_k d chi_k/dt,  chi = Lambda(theta_w) (n i) + psi_m(theta_w)   (k = 1, 2, 3)
//   n_k: turns of winding k over the nominal ones; Lambda in alpha-beta-zero of the windings:
//   L0 1 + L2 S(2 theta_w) beside the zero-sequence inductance; theta_w = theta_e, delta + 30 deg,
//   so that theta_e always counts from the axis of the equivalent star's phase U.
// States    x = (i_alpha, i_beta) of the line and, in delta, the circulating current i_c (inner 0):
//   i_winding = B x. Multiplied by 2/3 B^T, terminal by terminal, the equations become
//   (v_alpha, v_beta, 0) = 2/3 B^T R B x + M^T D d chi/dt,  M = T diag(n) B, D = diag(1, 1, 2),
//   T the Clarke transform with its zero row; the third row is eliminated for the terminal law.
//   T_em = 3/2 p x^T M^T D (1/2 Lambda' M x + psi_m')
// Source: textbook (coupled-circuit machine, amplitude-invariant transform), from memory; derived
//   above; checked against the same windings written in phase quantities (tests/reference).
// RT: at() is safe, O(1).
#pragma once

#include <array>
#include <vector>

#include "plant/machine/emf_shape.hpp"
#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

class PhaseMagnet {
 public:
  explicit PhaseMagnet(const PermanentMagnetParameters&);

  TerminalLaw at(const Point& y, const MachineCondition& now) const noexcept {
    return delta_ ? delta_at(y, now) : star_at(y, now);
  }
  /// Of a star, on (alpha, beta): what its equations take from the angle alone.
  struct StarAtAngle {
    double l_aa, l_ab, l_bb;              // H
    double slope_aa, slope_ab, slope_bb;  // of them, per electrical radian
    double magnet_a, magnet_b;            // EMF over electrical speed and flux linkage
  };
  StarAtAngle star(double theta, double cos_e, double sin_e) const noexcept {
    const double c2 = cos_e * cos_e - sin_e * sin_e, s2 = 2.0 * sin_e * cos_e;
    const AlphaBeta g = shape_(theta, cos_e, sin_e);
    const double g_0 = 2.0 * shape_.zero_sequence(theta);
    return {k0_.aa + c2 * k1_.aa + s2 * k2_.aa,
            k0_.ab + c2 * k1_.ab + s2 * k2_.ab,
            k0_.bb + c2 * k1_.bb + s2 * k2_.bb,
            2.0 * (c2 * k2_.aa - s2 * k1_.aa),
            2.0 * (c2 * k2_.ab - s2 * k1_.ab),
            2.0 * (c2 * k2_.bb - s2 * k1_.bb),
            m_[0][0] * g.alpha + m_[1][0] * g.beta + m_[2][0] * g_0,
            m_[0][1] * g.alpha + m_[1][1] * g.beta + m_[2][1] * g_0};
  }
  /// A star's winding resistances on (alpha, beta): 2/3 B^T R B.
  struct StarOhms {
    double aa, ab, bb;
  };
  static StarOhms star_ohms(const double (&r)[3]) noexcept {
    return {2.0 / 3.0 * r[0] + (r[1] + r[2]) * (1.0 / 6.0), sqrt3 / 6.0 * (r[2] - r[1]),
            0.5 * (r[1] + r[2])};
  }
  bool is_delta() const noexcept { return delta_; }
  /// Energy in the windings' field, the magnets' own left out [J].
  double stored_J(const Point&) const noexcept;
  /// What a sudden change keeps: the linkages of the windings, gathered by 2/3 B^T [Wb]. Uses libm.
  std::array<double, 3> linkage_Wb(const Point&, const MachineCondition&) const noexcept;
  double loop_inductance_H(const Point& y) const noexcept {
    return inductance(winding_angle(y)).cc;
  }
  Phases windings_A(const Point&) const noexcept;
  /// EMF of each winding.
  Phases emf_V(const Point&, const MachineCondition&) const noexcept;

  bool has_triplens() const noexcept { return shape_.has_triplens(); }
  double inductance_min_H() const noexcept { return inductance_min_H_; }
  double inductance_max_H() const noexcept { return inductance_max_H_; }
  /// A bound on the fastest rate of the windings' currents, through these resistances (of the
  /// equivalent star) and legs of leg_ohm in series [1/s].
  double rate_bound_per_s(const double (&winding_ohm)[3], double leg_ohm) const noexcept;
  /// Bounds on |torque| and on the EMF per electrical rad/s, lines' and loop's current within i_A.
  double torque_bound_Nm(double i_A, const MachineCondition&) const noexcept;
  /// Most that can circulate within span_s from y, line currents no larger than i_A.
  double loop_bound_A(const Point& y, double i_A, double span_s,
                      const MachineCondition&) const noexcept;
  double emf_bound_Wb(const MachineCondition&) const noexcept;

 private:
  static constexpr int alpha = 0, beta = 1, loop = 2;
  /// A symmetric 3 x 3 matrix over (alpha, beta, loop).
  struct Symmetric {
    double aa = 0.0, ab = 0.0, bb = 0.0, ac = 0.0, bc = 0.0, cc = 0.0;
  };
  struct Angle {
    double theta, cos, sin, c2, s2;
  };
  TerminalLaw delta_at(const Point&, const MachineCondition&) const noexcept;
  /// The same without a loop's row and column.
  TerminalLaw star_at(const Point&, const MachineCondition&) const noexcept;
  Angle winding_angle(const Point&) const noexcept;
  Symmetric inductance(const Angle&) const noexcept;
  Symmetric inductance_slope(const Angle&) const noexcept;  // per electrical radian
  /// M^T D times an (alpha, beta, zero) quantity of the windings.
  std::array<double, 3> gathered(const std::array<double, 3>&) const noexcept;
  std::array<double, 3> magnet_slope(const Angle&) const noexcept;  // (alpha, beta, zero) of g

  std::vector<BackEmfHarmonic> harmonics_;
  EmfShape shape_;
  double pole_pairs_;
  bool delta_;
  double ohm_scale_, flux_scale_;  // from the equivalent star of MachineCondition to the winding
  double turns_[3];
  double share_[3][3] = {};  // B: winding by state
  double m_[3][3] = {};      // M
  Symmetric k0_, k1_, k2_;   // inductance = k0 + cos 2theta_w k1 + sin 2theta_w k2
  double inductance_min_H_ = 0.0, inductance_max_H_ = 0.0;
  double winding_min_H_, loop_H_;  // of a winding: of what does not circulate, and of what does
};

}  // namespace stillrotor::plant
