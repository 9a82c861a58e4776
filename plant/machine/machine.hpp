// The machine of a drive: which kind it is, and its terminal law.
// A kind is one class with at(), stored_J() and torque_bound_Nm() (see linear_magnet.hpp). To add
// one: write the class, give it a member and a MachineModel here, a case in each switch below.
// RT: everything but the constructor is safe: no allocation, lock, log, throw or syscall.
#pragma once

#include <algorithm>
#include <optional>

#include "plant/machine/induction.hpp"
#include "plant/machine/linear_magnet.hpp"

namespace stillrotor::plant {

/// The form in which a machine is computed; chosen from its parameters.
enum class MachineModel : unsigned char { linear_magnet };

class Machine {
 public:
  /// The induction machine where it is given. Throws std::invalid_argument naming the parameter.
  explicit Machine(const PermanentMagnetParameters& m,
                   const std::optional<InductionParameters>& induction = {})
      : linear_(m), magnet_(m) {
    if (induction) induction_.emplace(*induction);
  }

  double pole_pairs() const noexcept {
    return induction_ ? induction_->pole_pairs() : magnet_.pole_pairs;
  }
  MachineModel model() const noexcept { return model_; }
  /// Constant inductances, equal star-connected phases, nothing else on the shaft: the fast steps
  /// (rotor_step.cpp, line_step.cpp) hold.
  bool plain() const noexcept { return model_ == MachineModel::linear_magnet && !induction_; }
  const EmfShape& shape() const noexcept { return linear_.shape(); }
  /// Least incremental inductance at the terminals, at any angle and current [H].
  double inductance_min_H() const noexcept {
    if (induction_) return induction_->inductance_min_H();
    return std::min(magnet_.inductance_d_H, magnet_.inductance_q_H);
  }
  /// Greatest, for bounds [H].
  double inductance_max_H() const noexcept {
    if (induction_) return induction_->inductance_max_H();
    return std::max(magnet_.inductance_d_H, magnet_.inductance_q_H);
  }
  /// Over inductance_min_H it gives the windings' fastest rate.
  double transient_ohm() const noexcept {
    return induction_ ? induction_->transient_ohm() : magnet_.winding_resistance_ohm;
  }
  /// As the parameters have it, at their reference temperature.
  MachineCondition as_new() const noexcept {
    if (induction_) return induction_->as_new();
    const double r = magnet_.winding_resistance_ohm;
    return {{r, r, r}, magnet_.flux_linkage_Wb, 0.0};
  }

  [[gnu::always_inline]] TerminalLaw at(const Point& y,
                                        const MachineCondition& now) const noexcept {
    if (induction_) return induction_->at(y, now);
    switch (model_) {
      case MachineModel::linear_magnet:
        break;
    }
    return linear_.at(y, now);
  }
  double stored_J(const Point& y, const MachineCondition&) const noexcept {
    return induction_ ? induction_->stored_J(y) : linear_.stored_J(y);
  }
  /// Bound on |torque| within span_s from y, for currents no larger than i_A [N m].
  double torque_bound_Nm(const Point& y, double i_A, double span_s,
                         const MachineCondition& now) const noexcept {
    if (induction_) return induction_->torque_bound_Nm(y, i_A, span_s, now);
    return linear_.torque_bound_Nm(i_A, now);
  }
  /// Bound on the induced voltage at y with currents no larger than i_A [V].
  double back_bound_V(const Point& y, double i_A, const MachineCondition& now) const noexcept {
    if (induction_) return induction_->back_bound_V(y, i_A, now);
    return pole_pairs() * std::abs(y.omega) *
           (now.flux_linkage_Wb * linear_.shape().peak() + 2.0 * inductance_max_H() * i_A);
  }

 private:
  MachineModel model_ = MachineModel::linear_magnet;
  LinearMagnet linear_;
  std::optional<InductionMachine> induction_;
  PermanentMagnetParameters magnet_;
};

}  // namespace stillrotor::plant
