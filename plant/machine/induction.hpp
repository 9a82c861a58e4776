// Squirrel-cage induction machine, star-connected, three-wire, equal phases: the T circuit of a
// phase, everything referred to the stator, in the stationary frame.
//   v = R_s i_s + d psi_s/dt            psi_s = L_ls i_s + psi_m
//   0 = R_r i_r + d psi_r/dt - omega_e J psi_r,   psi_r = L_lr i_r + psi_m,   J: a quarter turn
//   ahead psi_m along i_m = i_s + i_r, its length by the magnetising branch T = 3/2 p (psi_m x i_s)
// States i_s and psi_r: g = psi_r + L_lr i_s = L_lr i_m + psi_m fixes i_m (magnetising_curve.hpp),
// and
//   L = L_ls 1 + L_lr K,   back = R_s i_s + K d psi_r/dt,   K = d psi_m/d g = 1 - L_lr d i_m/d g.
// Left out: iron losses, skin effect in the bars, slot and winding harmonics, saturation of
// leakage. Units  ohm, H, Wb; peak, per phase. Source textbook (space vectors of the induction
// machine; T circuit), from memory. The terminal
//   law is derived above; checked against the same machine in other frames and states
//   (tests/reference/induction).
// RT     at(), stored_J() and the bounds are safe, O(1).
#pragma once

#include <cmath>
#include <vector>

#include "plant/machine/magnetising_curve.hpp"
#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

struct InductionParameters {
  int pole_pairs = 2;                     // 1 to 64
  double stator_resistance_ohm = 0.0;     // > 0
  double stator_leakage_H = 0.0;          // > 0
  double rotor_resistance_ohm = 0.0;      // > 0, referred to the stator
  double rotor_leakage_H = 0.0;           // >= 0, referred; 0: all leakage on the stator's side
  double magnetising_inductance_H = 0.0;  // > 0 unless the curve below stands in its place
  std::vector<MagnetisingPoint> magnetising_curve{};  // main flux over magnetising current, rising
};

class InductionMachine {
 public:
  /// Throws std::invalid_argument naming the parameter, its value and what is allowed.
  explicit InductionMachine(const InductionParameters&);

  double pole_pairs() const noexcept { return pole_pairs_; }
  double inductance_min_H() const noexcept {
    return l_ls_ + l_lr_ * (1.0 - l_lr_ * curve_.slope_max_A_per_Wb());
  }
  double inductance_max_H() const noexcept { return l_ls_ + l_lr_; }
  /// Without any flux.
  double inductance_new_H() const noexcept {
    return l_ls_ + l_lr_ * (1.0 - l_lr_ * curve_.slope_at_zero_A_per_Wb());
  }
  /// Together with inductance_min_H the fastest time constant of the windings.
  double transient_ohm() const noexcept { return as_new_.winding_ohm[0] + as_new_.rotor_ohm; }
  /// As the parameters have it, at their reference temperature.
  const MachineCondition& as_new() const noexcept { return as_new_; }

  [[gnu::always_inline]] TerminalLaw at(const Point& y,
                                        const MachineCondition& now) const noexcept {
    const double omega_e = pole_pairs_ * y.omega, r_s = now.winding_ohm[0], r_r = now.rotor_ohm;
    const double psi_r_a = y.extra.inner[0], psi_r_b = y.extra.inner[1];
    const double g_a = psi_r_a + l_lr_ * y.i_alpha, g_b = psi_r_b + l_lr_ * y.i_beta;
    const Branch m = branch(g_a, g_b);
    const double i_r_a = m.across * g_a - y.i_alpha, i_r_b = m.across * g_b - y.i_beta;
    const double rate_a = -r_r * i_r_a - omega_e * psi_r_b;
    const double rate_b = -r_r * i_r_b + omega_e * psi_r_a;
    const double k_aa = 1.0 - l_lr_ * (m.across + m.more * g_a * g_a);
    const double k_bb = 1.0 - l_lr_ * (m.across + m.more * g_b * g_b);
    const double k_ab = -l_lr_ * m.more * g_a * g_b;

    TerminalLaw out;
    out.l_aa_H = l_ls_ + l_lr_ * k_aa;
    out.l_ab_H = l_lr_ * k_ab;
    out.l_bb_H = l_ls_ + l_lr_ * k_bb;
    out.emf_V = {k_aa * rate_a + k_ab * rate_b, k_ab * rate_a + k_bb * rate_b};
    out.back_V = {r_s * y.i_alpha + out.emf_V.alpha, r_s * y.i_beta + out.emf_V.beta};
    // psi_m x i_s with psi_m = (1 - L_lr across) g
    out.torque_Nm =
        1.5 * pole_pairs_ * (1.0 - l_lr_ * m.across) * (g_a * y.i_beta - g_b * y.i_alpha);
    out.inner_rate[0] = rate_a;
    out.inner_rate[1] = rate_b;
    out.heat_W[0] = 1.5 * r_s * (y.i_alpha * y.i_alpha + y.i_beta * y.i_beta);
    out.heat_W[1] = 1.5 * r_r * (i_r_a * i_r_a + i_r_b * i_r_b);
    return out;
  }

  /// Energy in the fields [J].
  double stored_J(const Point& y) const noexcept;
  /// Bound on |torque| within span_s from y, for stator currents no larger than i_A [N m].
  double torque_bound_Nm(const Point& y, double i_A, double span_s,
                         const MachineCondition& now) const noexcept;
  /// Bound on the induced voltage, the same way [V].
  double back_bound_V(const Point& y, double i_A, const MachineCondition& now) const noexcept;

 private:
  /// i_m = across g;  d i_m/d g = across 1 + more g g^T.
  struct Branch {
    double across, more;
  };
  Branch branch(double g_a, double g_b) const noexcept {
    const double square = g_a * g_a + g_b * g_b;
    // So small a flux is in the straight part of any curve.
    if (curve_.linear() || square < least_square_) return {curve_.slope_at_zero_A_per_Wb(), 0.0};
    const double g = std::sqrt(square);
    const MagnetisingCurve::Value h = curve_.at(g);
    const double across = h.current_A / g;
    return {across, (h.slope_A_per_Wb - across) / square};
  }

  static constexpr double least_square_ = 1e-24;  // Wb^2
  double pole_pairs_, l_ls_, l_lr_;
  MachineCondition as_new_;
  MagnetisingCurve curve_;
};

}  // namespace stillrotor::plant
