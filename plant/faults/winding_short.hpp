// Fault: a short inside or beside the machine, as a branch across its terminals:
//   c . v + e = r i_b + l di_b/dt,   i = i_machine + 2/3 c i_b        (alpha-beta)
// where v stands at the terminals and i in the legs, so bridge, sensors and driver see what they
// would. between phases  c = n_j - n_k (n: leg axes), r and l the short's own. between turns   a
// share mu of winding k, shorted through R_f; all turns of a winding link the same
//   flux. With the branch's current for mu times the winding's, v_k of a star's winding is
//   n_k . v + v_0, and what that leaves out is the zero sequence: c = mu n_k,
//   r = R_f + mu (1 - 2 mu / 3) R, l = mu^2 L_0 / 3, e the winding's triplen EMFs times mu.
//   Delta: c = mu (n_k - n_(k+1)), r = R_f + mu (1 - mu) R_winding, l = 0.
//   l is raised to r * 5 us where it would be less: the shorted turns' own leakage.
// The machine goes on with i_machine, whatever its model; the branch's current is a state more,
// eliminated for the terminal law as a delta's loop is. Currents i_b = 0 at the begin: linkages and
// charge stay; at the end the arc takes 1/2 l i_b^2.
// Valid  equal windings (a winding with another resistance or other turns shifts r by its share).
// Source: textbook (inter-turn short as a coupled loop), from memory; the branch form derived.
// RT: safe, O(1).
#pragma once

#include <cstddef>

#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

inline constexpr double short_leakage_s = 5e-6;

/// v times what a branch takes of it.
constexpr double across(const WindingShort& b, AlphaBeta v) noexcept {
  return b.across.alpha * v.alpha + b.across.beta * v.beta;
}
/// What a branch's current adds to the line's.
constexpr AlphaBeta line_share(const WindingShort& b, double branch_A) noexcept {
  return {2.0 / 3.0 * b.across.alpha * branch_A, 2.0 / 3.0 * b.across.beta * branch_A};
}

/// The branch's elimination from what stands at the machine's side of it: L, and how it answers.
struct BranchAnswer {
  AlphaBeta lc;    // L c
  double inverse;  // 1 / (l + 2/3 c . L c)
};
constexpr BranchAnswer answer(const WindingShort& b, const TerminalLaw& t) noexcept {
  const AlphaBeta lc{t.l_aa_H * b.across.alpha + t.l_ab_H * b.across.beta,
                     t.l_ab_H * b.across.alpha + t.l_bb_H * b.across.beta};
  return {lc, 1.0 / (b.henry + 2.0 / 3.0 * across(b, lc))};
}
constexpr void take_inductance(TerminalLaw& t, const BranchAnswer& a) noexcept {
  const double k = 2.0 / 3.0 * a.inverse;
  t.l_aa_H -= k * a.lc.alpha * a.lc.alpha;
  t.l_ab_H -= k * a.lc.alpha * a.lc.beta;
  t.l_bb_H -= k * a.lc.beta * a.lc.beta;
}

/// The terminal law with the branch. emf_Wb: e over the mechanical speed.
constexpr TerminalLaw beside(TerminalLaw t, const WindingShort& b, double ohm, double branch_A,
                             double omega, double emf_Wb) noexcept {
  const BranchAnswer a = answer(b, t);
  const double rate = (across(b, t.back_V) + omega * emf_Wb - ohm * branch_A) * a.inverse;
  take_inductance(t, a);
  t.back_V.alpha -= 2.0 / 3.0 * a.lc.alpha * rate;
  t.back_V.beta -= 2.0 / 3.0 * a.lc.beta * rate;
  for (std::size_t n = 0; n < inner_states; ++n) {
    const double taken =
        2.0 / 3.0 * (t.inner_per_di[n][0] * b.across.alpha + t.inner_per_di[n][1] * b.across.beta);
    t.inner_rate[n] -= taken * rate;
    t.inner_per_di[n][0] -= taken * a.inverse * a.lc.alpha;
    t.inner_per_di[n][1] -= taken * a.inverse * a.lc.beta;
  }
  t.heat_W[0] += ohm * branch_A * branch_A;
  t.torque_Nm -= emf_Wb * branch_A;
  return t;
}

}  // namespace stillrotor::plant
