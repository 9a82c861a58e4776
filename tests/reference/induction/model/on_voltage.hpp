// The plant's induction machine on imposed sinusoidal voltage: the test's own small integrator
// around the terminal law, because a Drive has a bridge and nothing else. Classical RK4, fixed
// step; energies are integrated as states beside the rest.
#pragma once

#include <array>
#include <complex>
#include <functional>

#include "plant/machine/induction.hpp"

namespace stillrotor::reference {

using Vector = std::complex<double>;  // alpha + j beta

struct Shaft {
  double inertia_kg_m2 = 0.0;  // 0: the speed is imposed
  double load_Nm = 0.0;
};

class OnVoltage {
 public:
  OnVoltage(const plant::InductionParameters& p, const Shaft& shaft, double omega_m_rad_s = 0.0)
      : machine_(p), condition_(machine_.as_new()), shaft_(shaft), pole_pairs_(p.pole_pairs) {
    x_[4] = omega_m_rad_s;
  }

  plant::MachineCondition& condition() { return condition_; }
  void set_load(double load_Nm) { shaft_.load_Nm = load_Nm; }

  /// voltage(t): peak phase vector [V].
  template <class Voltage>
  void advance(const Voltage& voltage, double until_s, double step_s) {
    const auto steps = static_cast<long>((until_s - t_) / step_s + 0.5);
    const double from = t_;
    for (long n = 0; n < steps; ++n) {
      const State k1 = rates(x_, voltage(t_));
      const State k2 = rates(moved(x_, k1, 0.5 * step_s), voltage(t_ + 0.5 * step_s));
      const State k3 = rates(moved(x_, k2, 0.5 * step_s), voltage(t_ + 0.5 * step_s));
      const State k4 = rates(moved(x_, k3, step_s), voltage(t_ + step_s));
      for (std::size_t i = 0; i < x_.size(); ++i)
        x_[i] += step_s / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]);
      t_ = from + static_cast<double>(n + 1) * step_s;
      if (after_step) after_step();
    }
  }
  std::function<void()> after_step;

  double time_s() const { return t_; }
  Vector current_A() const { return {x_[0], x_[1]}; }
  Vector rotor_flux_Wb() const { return {x_[2], x_[3]}; }
  double omega_m_rad_s() const { return x_[4]; }
  double torque_Nm() const { return law().torque_Nm; }
  double stored_J() const { return machine_.stored_J(point(x_)); }
  double supplied_J() const { return x_[5]; }
  double mechanical_J() const { return x_[6]; }
  double heat_J() const { return x_[7]; }
  plant::TerminalLaw law() const { return machine_.at(point(x_), condition_); }
  const plant::InductionMachine& machine() const { return machine_; }

 private:
  using State = std::array<double, 8>;  // i, psi_r, omega_m, energies

  static plant::Point point(const State& x) {
    plant::Point y{};
    y.i_alpha = x[0];
    y.i_beta = x[1];
    y.extra.inner[0] = x[2];
    y.extra.inner[1] = x[3];
    y.omega = x[4];
    return y;
  }
  static State moved(State x, const State& rate, double h) {
    for (std::size_t i = 0; i < x.size(); ++i) x[i] += h * rate[i];
    return x;
  }
  State rates(const State& x, Vector v) const {
    const plant::TerminalLaw t = machine_.at(point(x), condition_);
    const double a = v.real() - t.back_V.alpha, b = v.imag() - t.back_V.beta;
    const double det = t.l_aa_H * t.l_bb_H - t.l_ab_H * t.l_ab_H;
    const double domega =
        shaft_.inertia_kg_m2 > 0.0 ? (t.torque_Nm - shaft_.load_Nm) / shaft_.inertia_kg_m2 : 0.0;
    return {(t.l_bb_H * a - t.l_ab_H * b) / det,
            (t.l_aa_H * b - t.l_ab_H * a) / det,
            t.inner_rate[0],
            t.inner_rate[1],
            domega,
            1.5 * (v.real() * x[0] + v.imag() * x[1]),
            t.torque_Nm * x[4],
            t.heat_W[0] + t.heat_W[1] + t.heat_W[2]};
  }

  plant::InductionMachine machine_;
  plant::MachineCondition condition_;
  Shaft shaft_;
  double pole_pairs_;
  State x_{};
  double t_ = 0.0;
};

/// A balanced sine: line-to-line rms [V], frequency [Hz]; U at its peak at time 0.
inline auto mains(double line_to_line_rms_V, double frequency_Hz) {
  return [peak = line_to_line_rms_V * std::sqrt(2.0 / 3.0),
          w = 2.0 * plant::pi * frequency_Hz](double t) { return std::polar(peak, w * t); };
}

}  // namespace stillrotor::reference
