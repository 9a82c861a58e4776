// The machine of a drive: which kind it is, and its terminal law.
// A kind is one class with at(), stored_J() and bounds (see linear_magnet.hpp). To add one: write
// the class, give it a member here, a MachineModel (terminal_law.hpp) and a case in each switch.
// Which model computes is part of MachineCondition, so that a run can change it: a linear magnet
// whose phases become unequal goes on as a phase magnet with the same currents and linkages.
// RT: everything but the constructor is safe: no allocation, lock, log, throw or syscall.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "plant/faults/winding_short.hpp"
#include "plant/machine/induction.hpp"
#include "plant/machine/linear_magnet.hpp"
#include "plant/machine/phase_magnet.hpp"
#include "plant/machine/saturated_magnet.hpp"

namespace stillrotor::plant {

class Machine {
 public:
  /// The induction machine where it is given. Throws std::invalid_argument naming the parameter.
  explicit Machine(const PermanentMagnetParameters& m,
                   const std::optional<InductionParameters>& induction = {})
      : given_(m),
        star_(equivalent_star(m)),
        linear_(star_),
        phase_(m),
        cogging_(m.cogging),
        iron_(m.iron_loss, m.pole_pairs, star_.flux_linkage_Wb) {
    if (induction) induction_.emplace(*induction);
    if (induction || m.flux_map.empty()) return;
    saturated_.emplace(m);
  }

  double pole_pairs() const noexcept {
    return induction_ ? induction_->pole_pairs() : given_.pole_pairs;
  }
  /// Constant inductances, equal phases: the fast steps (rotor_step.cpp, line_step.cpp) hold.
  static bool plain(const MachineCondition& now) noexcept {
    return now.model == MachineModel::linear_magnet && !now.shorted;
  }
  /// A star computed winding by winding: phase_step.cpp holds, where nothing is shorted.
  bool is_phased_star(const MachineCondition& now) const noexcept {
    return now.model == MachineModel::phase_magnet && !phase_.is_delta();
  }
  const PhaseMagnet& windings() const noexcept { return phase_; }
  /// Whether the machine can be computed winding by winding.
  bool has_phases() const noexcept { return !induction_ && !saturated_; }
  /// The simplest model that holds for windings of these resistances.
  MachineModel model_for(const MachineCondition& now) const noexcept {
    if (induction_) return MachineModel::induction;
    if (saturated_) return MachineModel::saturated_magnet;
    const bool equal = now.winding_ohm[0] == now.winding_ohm[1] &&
                       now.winding_ohm[1] == now.winding_ohm[2] && given_.equal_turns() &&
                       given_.turns_factor[0] == 1.0;
    const bool circulates = given_.connection == Connection::delta && phase_.has_triplens();
    return equal && !circulates ? MachineModel::linear_magnet : MachineModel::phase_magnet;
  }
  /// Sine, and nothing beside the fundamental on the shaft: their shortest form holds.
  bool bare() const noexcept { return shape().is_sine() && !cogging_.any() && !iron_.any(); }
  const EmfShape& shape() const noexcept { return linear_.shape(); }
  const Cogging& cogging() const noexcept { return cogging_; }
  const IronLoss& iron() const noexcept { return iron_; }
  /// nullptr: no saturation.
  const FluxMap* flux_map() const noexcept { return saturated_ ? &saturated_->map() : nullptr; }
  /// The equivalent star's: what the fast steps work with [H].
  double star_inductance_d_H() const noexcept { return star_.inductance_d_H; }
  double star_inductance_q_H() const noexcept { return star_.inductance_q_H; }
  /// Least and greatest incremental inductance at the terminals, any angle, current and model [H].
  double inductance_min_H() const noexcept {
    if (induction_) return induction_->inductance_min_H();
    return saturated_
               ? saturated_->map().inductance_min_H()
               : std::min({star_.inductance_d_H, star_.inductance_q_H, phase_.inductance_min_H()});
  }
  double inductance_max_H() const noexcept {
    if (induction_) return induction_->inductance_max_H();
    return saturated_
               ? saturated_->map().inductance_max_H()
               : std::max({star_.inductance_d_H, star_.inductance_q_H, phase_.inductance_max_H()});
  }
  /// Greatest over least inductance of the two axes; 1: none.
  double saliency() const noexcept {
    if (induction_) return 1.0;
    if (saturated_)
      return saturated_->map().inductance_max_H() / saturated_->map().inductance_min_H();
    const double d_over_q = star_.inductance_d_H / star_.inductance_q_H;
    return std::max(d_over_q, 1.0 / d_over_q);
  }
  /// Over inductance_min_H it gives the windings' fastest rate.
  double transient_ohm() const noexcept {
    return induction_ ? induction_->transient_ohm() : star_.winding_resistance_ohm;
  }

  /// As the parameters have it, at their reference temperature.
  MachineCondition as_new() const noexcept {
    MachineCondition c =
        at_temperatures(given_.reference_temperature_K, given_.reference_temperature_K, {});
    c.model = model_for(c);
    return c;
  }
  /// Windings and rotor (magnets, or the cage, taken as copper) at these temperatures; model,
  /// joints and what is left of the magnets as they are in `now`.
  MachineCondition at_temperatures(double winding_K, double rotor_K,
                                   const MachineCondition& now) const noexcept {
    const double at_reference = copper(given_.reference_temperature_K);
    MachineCondition c = now;
    c.winding_K = winding_K;
    c.magnet_K = rotor_K;
    if (induction_) {
      const MachineCondition cold = induction_->as_new();
      for (int k = 0; k < 3; ++k)
        c.winding_ohm[k] = cold.winding_ohm[k] * copper(winding_K) / at_reference;
      c.rotor_ohm = cold.rotor_ohm * copper(rotor_K) / at_reference;
      c.flux_linkage_Wb = cold.flux_linkage_Wb;
      return c;
    }
    const double r = star_.winding_resistance_ohm * copper(winding_K) / at_reference;
    for (int k = 0; k < 3; ++k) c.winding_ohm[k] = r * given_.resistance_factor[k] + c.joint_ohm[k];
    lose_to(c, now.magnet_left);
    return c;
  }
  /// A joint of so much in series with one winding, as built.
  void set_joint(MachineCondition& c, std::size_t winding, double ohm) const noexcept {
    const double star_ohm = given_.connection == Connection::delta ? ohm / 3.0 : ohm;
    // From the sum without it, so that a joint made good leaves no rounding behind.
    const double own = c.winding_ohm[winding] - c.joint_ohm[winding];
    c.winding_ohm[winding] = star_ohm == 0.0 ? bare_ohm(c, winding, own) : own + star_ohm;
    c.joint_ohm[winding] = star_ohm;
  }
  /// Shorts a share of a winding's turns, or two terminals (winding: from it to the next), through
  /// a resistance; henry: of the second alone.
  void set_short(MachineCondition&, ShortPlace, std::size_t winding, double turns, double ohm,
                 double henry) const noexcept;
  static void end_short(MachineCondition& c, ShortPlace place) noexcept {
    c.shorts[static_cast<int>(place)] = {};
    c.shorted = c.is_there(0) || c.is_there(1);
  }
  /// Point::extra.inner moves: rotor flux, or a delta's circulating current.
  bool has_inner_states(const MachineCondition& c) const noexcept {
    return c.model == MachineModel::induction ||
           (c.model == MachineModel::phase_magnet && given_.connection == Connection::delta);
  }
  bool can_lose_flux() const noexcept { return given_.demagnetisation.possible && !induction_; }
  /// Sets the share of the magnets' flux that is left, and what follows from it.
  void lose_to(MachineCondition& c, double magnet_left) const noexcept {
    const DemagnetisationParameters& d = given_.demagnetisation;
    c.magnet_left = magnet_left;
    c.flux_linkage_Wb = full_flux_Wb(c) * magnet_left;
    if (d.possible)
      c.knee_A = d.knee_at(c.magnet_K, given_.reference_temperature_K) -
                 (1.0 - magnet_left) * d.lose_all_within_A;
  }
  static constexpr double least_left = 0.05;  // below it no field would be left to compute with
  /// Share that i_d below knee_A leaves: the line through the present one.
  double left_at(double i_d, const MachineCondition& now) const noexcept {
    const double lost = std::max(0.0, now.knee_A - i_d) / given_.demagnetisation.lose_all_within_A;
    return std::max(least_left, now.magnet_left - lost);
  }
  /// Flux that a share lost per ampere takes [Wb/A]: the slope of that line.
  double flux_per_i_d_H(const MachineCondition& now) const noexcept {
    return full_flux_Wb(now) / given_.demagnetisation.lose_all_within_A;
  }

  [[gnu::always_inline]] TerminalLaw at(const Point& y,
                                        const MachineCondition& now) const noexcept {
    if (now.shorted) [[unlikely]]
      return with_shorts(y, now);
    return whole(y, now);
  }
  /// What flows in the machine itself where a branch beside it takes its share.
  Point behind_shorts(Point y, const MachineCondition& now) const noexcept {
    for (int n = 0; n < short_count && now.shorted; ++n) {
      const AlphaBeta taken = line_share(now.shorts[n], y.extra.short_A[n]);
      y.i_alpha -= taken.alpha;
      y.i_beta -= taken.beta;
    }
    return y;
  }
  /// Of a branch, the winding's copper included [ohm].
  double short_ohm(const WindingShort& b, const MachineCondition& now) const noexcept {
    const double winding = now.winding_ohm[b.winding] - now.joint_ohm[b.winding];
    return b.ohm + b.copper * winding;
  }
  /// The winding's triplen EMFs in the shorted turns, over the mechanical speed [V s].
  double short_emf_Wb(const WindingShort& b, const Point& y,
                      const MachineCondition& now) const noexcept {
    if (b.turns <= 0.0 || induction_ || given_.connection == Connection::delta) return 0.0;
    return b.turns * pole_pairs() * now.flux_linkage_Wb * shape().zero_sequence(y.theta);
  }
  /// Zero-sequence flux linkage of the magnets in what a short shorts [Wb]; its slope is that EMF.
  double short_flux_Wb(const WindingShort& b, const Point& y,
                       const MachineCondition& now) const noexcept {
    if (b.turns <= 0.0 || induction_ || given_.connection == Connection::delta) return 0.0;
    return b.turns * now.flux_linkage_Wb * shape().zero_sequence_flux(y.theta);
  }
  /// What is left at the terminals of an impulse on the machine's linkages, and of L.
  AlphaBeta past_shorts(TerminalLaw& t, AlphaBeta missing,
                        const MachineCondition& now) const noexcept {
    for (int n = 0; n < short_count && now.shorted; ++n) {
      if (!now.is_there(n)) continue;
      const BranchAnswer a = answer(now.shorts[n], t);
      const double taken = 2.0 / 3.0 * a.inverse * across(now.shorts[n], missing);
      missing = {missing.alpha - taken * a.lc.alpha, missing.beta - taken * a.lc.beta};
      take_inductance(t, a);
    }
    return missing;
  }
  /// Least incremental inductance that the legs see [H].
  double leg_inductance_min_H(const MachineCondition& now) const noexcept {
    double inverse = 1.0 / inductance_min_H();
    for (int n = 0; n < short_count && now.shorted; ++n)
      if (now.is_there(n)) inverse += 2.0 / 3.0 * size2(now.shorts[n]) / now.shorts[n].henry;
    return 1.0 / inverse;
  }
  /// An eighth of the fastest time constant of windings that are computed one by one, with joints
  /// and legs of leg_ohm in series; 1 where they are not [s]. At the reference temperature: so that
  /// it does not depend on when it was asked for.
  double winding_step_s(const MachineCondition& now, double leg_ohm) const noexcept {
    if (now.model != MachineModel::phase_magnet) return 1.0;
    double ohm[3];
    for (std::size_t k = 0; k < 3; ++k) ohm[k] = reference_ohm(k) + now.joint_ohm[k];
    return 0.125 / phase_.rate_bound_per_s(ohm, leg_ohm);
  }
  /// An eighth of the fastest time constant of the shorts, legs of leg_ohm in series; 1 without.
  /// Also at the reference temperature [s].
  double short_step_s(const MachineCondition& now, double leg_ohm) const noexcept {
    double step = 1.0;
    for (int n = 0; n < short_count && now.shorted; ++n) {
      const WindingShort& b = now.shorts[n];
      if (!now.is_there(n)) continue;
      const double ohm = b.ohm + b.copper * reference_ohm(b.winding);
      // It goes through whole transients between gate edges.
      step = std::min(step, 0.125 * b.henry / (ohm + 2.0 / 3.0 * size2(b) * leg_ohm));
    }
    return step;
  }
  /// The machine without shorts beside it.
  [[gnu::always_inline]] TerminalLaw whole(const Point& y,
                                           const MachineCondition& now) const noexcept {
    TerminalLaw out = law(y, now);
    if (iron_.any()) {
      const Dq psi = fundamental_Wb(y, now);
      const double drag = iron_.drag_Nm(psi.d * psi.d + psi.q * psi.q, y.omega);
      out.torque_Nm -= drag;
      out.heat_W[2] += drag * y.omega;
    }
    return out;
  }
  /// Loss in the iron of a magnet machine.
  double iron_W(const Dq& i, double omega, const MachineCondition& now) const noexcept {
    const Dq psi = fundamental_Wb(i, now);
    return iron_.drag_Nm(psi.d * psi.d + psi.q * psi.q, omega) * omega;
  }
  /// at()'s torque alone: what is looked at after every step.
  double torque_Nm(const Point& y, const MachineCondition& now) const noexcept {
    if (!saturated_ || now.shorted) return at(y, now).torque_Nm;
    const Dq i = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
    const Dq psi = saturated_->linkage_Wb(i, now);
    const double own = saturated_->torque_Nm(y, i, psi, now);
    return iron_.any() ? own - iron_.drag_Nm(psi.d * psi.d + psi.q * psi.q, y.omega) : own;
  }
  /// Flux linkages of the windings, magnets included: (alpha, beta) of the line, the delta's loop.
  /// A sudden change keeps them. Magnet machines only [Wb].
  std::array<double, 3> linkage_Wb(const Point& line, const MachineCondition& now) const noexcept {
    const Point y = behind_shorts(line, now);
    if (now.model == MachineModel::phase_magnet) return phase_.linkage_Wb(y, now);
    const Dq psi = fundamental_Wb(y, now);
    const AlphaBeta sum = unpark(psi, y.cos_e, y.sin_e), all = shape().flux(y.theta);
    const double m = now.flux_linkage_Wb;
    return {sum.alpha + m * (all.alpha - y.cos_e), sum.beta + m * (all.beta - y.sin_e), 0.0};
  }
  /// Of the delta's loop; 1 where there is none.
  double loop_inductance_H(const Point& y, const MachineCondition& now) const noexcept {
    return now.model == MachineModel::phase_magnet ? phase_.loop_inductance_H(y) : 1.0;
  }
  double stored_J(const Point& y, const MachineCondition& now) const noexcept {
    if (!now.shorted) return own_stored_J(y, now);
    double sum = own_stored_J(behind_shorts(y, now), now);
    for (int n = 0; n < short_count; ++n)
      sum += 0.5 * now.shorts[n].henry * y.extra.short_A[n] * y.extra.short_A[n];
    return sum;
  }
  double own_stored_J(const Point& y, const MachineCondition& now) const noexcept {
    if (now.model == MachineModel::phase_magnet) return phase_.stored_J(y);
    if (induction_) return induction_->stored_J(y);
    return saturated_ ? saturated_->stored_J(y) : linear_.stored_J(y);
  }
  /// EMF of each winding, triplens included; in delta between the terminals U-V, V-W, W-U. Of an
  /// induction machine, what its rotor's flux induces.
  Phases emf_V(const Point& y, const MachineCondition& now) const noexcept {
    return induction_ ? phases(induction_->at(y, now).emf_V) : phase_.emf_V(y, now);
  }
  /// Current of each winding; in star the lines'.
  Phases windings_A(const Point& y, const MachineCondition& now) const noexcept {
    if (now.shorted) return windings_beside_shorts_A(y, now);
    return own_windings_A(y);
  }
  /// Bound on |torque| within span_s from y, for currents no larger than i_A [N m].
  double torque_bound_Nm(const Point& y, double i_A, double span_s,
                         const MachineCondition& now) const noexcept {
    for (int n = 0; n < short_count && now.shorted; ++n)
      i_A += std::sqrt(size2(now.shorts[n])) * std::abs(y.extra.short_A[n]);
    if (induction_) return induction_->torque_bound_Nm(y, i_A, span_s, now);
    if (now.model == MachineModel::phase_magnet)
      return phase_.torque_bound_Nm(i_A + phase_.loop_bound_A(y, i_A, span_s, now), now) +
             cogging_.bound_Nm();
    return (saturated_ ? saturated_->torque_bound_Nm(i_A, now)
                       : linear_.torque_bound_Nm(i_A, now)) +
           cogging_.bound_Nm();
  }
  /// Bound on the drag of iron losses at this speed [N m].
  double iron_bound_Nm(double omega_m, double i_A, const MachineCondition& now) const noexcept {
    const double psi = now.flux_linkage_Wb + inductance_max_H() * i_A;
    return iron_.any() ? iron_.drag_Nm(psi * psi, omega_m < 0.0 ? -omega_m : omega_m) : 0.0;
  }
  /// Bound on the induced voltage at y with currents no larger than i_A [V].
  double back_bound_V(const Point& y, double i_A, const MachineCondition& now) const noexcept {
    if (induction_) return induction_->back_bound_V(y, i_A, now);
    const double magnets = now.model == MachineModel::phase_magnet
                               ? phase_.emf_bound_Wb(now)
                               : now.flux_linkage_Wb * linear_.shape().peak();
    return pole_pairs() * std::abs(y.omega) * (magnets + 2.0 * inductance_max_H() * i_A);
  }

 private:
  [[gnu::always_inline]] TerminalLaw law(const Point& y,
                                         const MachineCondition& now) const noexcept {
    switch (now.model) {
      case MachineModel::induction:
        return induction_->at(y, now);
      case MachineModel::phase_magnet:
        return phase_.at(y, now);
      case MachineModel::saturated_magnet:
        return saturated_->at(y, now);
      case MachineModel::linear_magnet:
        break;
    }
    return linear_.at(y, now);
  }
  static double size2(const WindingShort& b) noexcept { return across(b, b.across); }
  // winding_shorts.cpp
  TerminalLaw with_shorts(const Point&, const MachineCondition&) const noexcept;
  Phases windings_beside_shorts_A(const Point&, const MachineCondition&) const noexcept;
  Phases own_windings_A(const Point& y) const noexcept {
    return induction_ ? phases({y.i_alpha, y.i_beta}) : phase_.windings_A(y);
  }
  /// Without joints.
  double reference_ohm(std::size_t winding) const noexcept {
    return induction_ ? induction_->as_new().winding_ohm[winding]
                      : star_.winding_resistance_ohm * given_.resistance_factor[winding];
  }
  Dq fundamental_Wb(const Point& y, const MachineCondition& now) const noexcept {
    return fundamental_Wb(park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e), now);
  }
  Dq fundamental_Wb(const Dq& i, const MachineCondition& now) const noexcept {
    return saturated_
               ? saturated_->linkage_Wb(i, now)
               : Dq{star_.inductance_d_H * i.d + now.flux_linkage_Wb, star_.inductance_q_H * i.q};
  }
  /// What the other windings say of the temperature, where one of them has no joint.
  double bare_ohm(const MachineCondition& c, std::size_t winding, double own) const noexcept {
    for (std::size_t k = 0; k < 3; ++k)
      if (k != winding && c.joint_ohm[k] == 0.0)
        return c.winding_ohm[k] * given_.resistance_factor[winding] / given_.resistance_factor[k];
    return own;
  }
  double copper(double kelvin) const noexcept {
    return 1.0 + given_.winding_temperature_coefficient_per_K * (kelvin - 293.15);
  }
  double full_flux_Wb(const MachineCondition& c) const noexcept {
    return star_.flux_linkage_Wb * (1.0 + given_.flux_temperature_coefficient_per_K *
                                              (c.magnet_K - given_.reference_temperature_K));
  }

  PermanentMagnetParameters given_, star_;
  LinearMagnet linear_;
  PhaseMagnet phase_;
  std::optional<InductionMachine> induction_;
  std::optional<SaturatedMagnet> saturated_;
  Cogging cogging_;
  IronLoss iron_;
};

}  // namespace stillrotor::plant
