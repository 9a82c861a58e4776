// The machine of a drive: which kind it is, and its terminal law.
// A kind is one class with at(), stored_J() and torque_bound_Nm() (see linear_magnet.hpp). To add
// one: write the class, give it a member and a MachineModel here, a case in each switch below.
// RT: everything but the constructor is safe: no allocation, lock, log, throw or syscall.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>

#include "plant/machine/induction.hpp"
#include "plant/machine/linear_magnet.hpp"
#include "plant/machine/saturated_magnet.hpp"

namespace stillrotor::plant {

/// The form in which a machine is computed; chosen from its parameters.
enum class MachineModel : unsigned char { linear_magnet, saturated_magnet };

class Machine {
 public:
  /// The induction machine where it is given. Throws std::invalid_argument naming the parameter.
  explicit Machine(const PermanentMagnetParameters& m,
                   const std::optional<InductionParameters>& induction = {})
      : linear_(m),
        cogging_(m.cogging),
        iron_(m.iron_loss, m.pole_pairs, m.flux_linkage_Wb),
        magnet_(m) {
    if (induction) induction_.emplace(*induction);
    if (induction || m.flux_map.empty()) return;
    model_ = MachineModel::saturated_magnet;
    saturated_.emplace(m);
  }

  double pole_pairs() const noexcept {
    return induction_ ? induction_->pole_pairs() : magnet_.pole_pairs;
  }
  MachineModel model() const noexcept { return model_; }
  /// Constant inductances, equal star-connected phases: the fast steps (rotor_step.cpp,
  /// line_step.cpp) hold.
  bool plain() const noexcept { return model_ == MachineModel::linear_magnet && !induction_; }
  /// Sine, and nothing beside the fundamental on the shaft: their shortest form holds.
  bool bare() const noexcept { return shape().is_sine() && !cogging_.any() && !iron_.any(); }
  const EmfShape& shape() const noexcept { return linear_.shape(); }
  const Cogging& cogging() const noexcept { return cogging_; }
  const IronLoss& iron() const noexcept { return iron_; }
  /// nullptr: no saturation.
  const FluxMap* flux_map() const noexcept { return saturated_ ? &saturated_->map() : nullptr; }
  /// Least incremental inductance at the terminals, at any angle and current [H].
  double inductance_min_H() const noexcept {
    if (induction_) return induction_->inductance_min_H();
    return saturated_ ? saturated_->map().inductance_min_H()
                      : std::min(magnet_.inductance_d_H, magnet_.inductance_q_H);
  }
  /// Greatest, for bounds [H].
  double inductance_max_H() const noexcept {
    if (induction_) return induction_->inductance_max_H();
    return saturated_ ? saturated_->map().inductance_max_H()
                      : std::max(magnet_.inductance_d_H, magnet_.inductance_q_H);
  }
  /// Over inductance_min_H it gives the windings' fastest rate.
  double transient_ohm() const noexcept {
    return induction_ ? induction_->transient_ohm() : magnet_.winding_resistance_ohm;
  }

  /// As the parameters have it, at their reference temperature.
  MachineCondition as_new() const noexcept {
    return at_temperatures(magnet_.reference_temperature_K, magnet_.reference_temperature_K, 1.0);
  }
  /// Windings and rotor (magnets, or the cage, taken as copper) at these temperatures, of the
  /// magnets' flux this share left.
  MachineCondition at_temperatures(double winding_K, double rotor_K,
                                   double magnet_left) const noexcept {
    const double at_reference = copper(magnet_.reference_temperature_K);
    MachineCondition c;
    if (induction_) {
      c = induction_->as_new();
      for (double& r : c.winding_ohm) r *= copper(winding_K) / at_reference;
      c.rotor_ohm *= copper(rotor_K) / at_reference;
      return c;
    }
    const double r = magnet_.winding_resistance_ohm * copper(winding_K) / at_reference;
    c.winding_ohm[0] = c.winding_ohm[1] = c.winding_ohm[2] = r;
    c.magnet_K = rotor_K;
    lose_to(c, magnet_left);
    return c;
  }
  bool can_lose_flux() const noexcept { return magnet_.demagnetisation.possible && !induction_; }
  /// Sets the share of the magnets' flux that is left, and what follows from it.
  void lose_to(MachineCondition& c, double magnet_left) const noexcept {
    const double warmer_K = c.magnet_K - magnet_.reference_temperature_K;
    const DemagnetisationParameters& d = magnet_.demagnetisation;
    c.magnet_left = magnet_left;
    c.flux_linkage_Wb = full_flux_Wb(c) * magnet_left;
    if (d.possible)
      c.knee_A = d.knee_A + d.knee_per_K_A * warmer_K - (1.0 - magnet_left) * d.lose_all_within_A;
  }
  /// Share that i_d below knee_A leaves: the line through the present one.
  double left_at(double i_d, const MachineCondition& now) const noexcept {
    const double lost = std::max(0.0, now.knee_A - i_d) / magnet_.demagnetisation.lose_all_within_A;
    return std::max(least_left, now.magnet_left - lost);
  }
  /// Flux that a share lost per ampere takes [Wb/A]: the slope of that line.
  double flux_per_i_d_H(const MachineCondition& now) const noexcept {
    return full_flux_Wb(now) / magnet_.demagnetisation.lose_all_within_A;
  }

  [[gnu::always_inline]] TerminalLaw at(const Point& y,
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
  /// Flux linkage of the windings, magnets included, stationary; zero sequence left out [Wb].
  AlphaBeta linkage_Wb(const Point& y, const MachineCondition& now) const noexcept {
    const Dq psi = fundamental_Wb(y, now);
    const AlphaBeta sum = unpark(psi, y.cos_e, y.sin_e), all = shape().flux(y.theta);
    const double m = now.flux_linkage_Wb;
    return {sum.alpha + m * (all.alpha - y.cos_e), sum.beta + m * (all.beta - y.sin_e)};
  }
  double stored_J(const Point& y, const MachineCondition&) const noexcept {
    if (induction_) return induction_->stored_J(y);
    return saturated_ ? saturated_->stored_J(y) : linear_.stored_J(y);
  }
  /// Bound on |torque| within span_s from y, for currents no larger than i_A [N m].
  double torque_bound_Nm(const Point& y, double i_A, double span_s,
                         const MachineCondition& now) const noexcept {
    if (induction_) return induction_->torque_bound_Nm(y, i_A, span_s, now);
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
    return pole_pairs() * std::abs(y.omega) *
           (now.flux_linkage_Wb * linear_.shape().peak() + 2.0 * inductance_max_H() * i_A);
  }

 private:
  static constexpr double least_left = 0.05;  // below it no field would be left to compute with

  [[gnu::always_inline]] TerminalLaw law(const Point& y,
                                         const MachineCondition& now) const noexcept {
    if (induction_) return induction_->at(y, now);
    switch (model_) {
      case MachineModel::saturated_magnet:
        return saturated_->at(y, now);
      case MachineModel::linear_magnet:
        break;
    }
    return linear_.at(y, now);
  }
  Dq fundamental_Wb(const Point& y, const MachineCondition& now) const noexcept {
    const Dq i = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
    return saturated_ ? saturated_->linkage_Wb(i, now)
                      : Dq{magnet_.inductance_d_H * i.d + now.flux_linkage_Wb,
                           magnet_.inductance_q_H * i.q};
  }
  double copper(double kelvin) const noexcept {
    return 1.0 + magnet_.winding_temperature_coefficient_per_K * (kelvin - 293.15);
  }
  double full_flux_Wb(const MachineCondition& c) const noexcept {
    return magnet_.flux_linkage_Wb * (1.0 + magnet_.flux_temperature_coefficient_per_K *
                                                (c.magnet_K - magnet_.reference_temperature_K));
  }

  MachineModel model_ = MachineModel::linear_magnet;
  LinearMagnet linear_;
  std::optional<InductionMachine> induction_;
  std::optional<SaturatedMagnet> saturated_;
  Cogging cogging_;
  IronLoss iron_;
  PermanentMagnetParameters magnet_;
};

}  // namespace stillrotor::plant
