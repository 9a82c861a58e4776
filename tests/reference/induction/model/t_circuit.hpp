// Steady state of an induction machine by phasors: the T circuit of one phase, rms values.
// Source  textbook (equivalent circuit of the induction machine; Thevenin's theorem for its
//         breakdown), from memory. Shares nothing with the plant but the parameters.
#pragma once

#include <cmath>
#include <complex>

#include "plant/machine/induction.hpp"

namespace stillrotor::reference {

struct SteadyState {
  std::complex<double> stator_A, rotor_A;  // rms; the voltage is the reference, rotor into the cage
  double torque_Nm, power_factor, input_W, air_gap_W;
};

class TCircuit {
 public:
  using Z = std::complex<double>;
  TCircuit(const plant::InductionParameters& p, double line_to_line_V, double frequency_Hz)
      : omega_(2.0 * plant::pi * frequency_Hz),
        pole_pairs_(p.pole_pairs),
        r_r_(p.rotor_resistance_ohm),
        v_(line_to_line_V / std::sqrt(3.0)),
        stator_{p.stator_resistance_ohm, omega_ * p.stator_leakage_H},
        magnetising_{0.0, omega_ * p.magnetising_inductance_H},
        leakage_{0.0, omega_ * p.rotor_leakage_H} {}

  double synchronous_rad_s() const { return omega_ / pole_pairs_; }

  SteadyState at(double slip) const {
    const Z cage = leakage_ + r_r_ / slip;
    const Z parallel = magnetising_ * cage / (magnetising_ + cage);
    const Z i = v_ / (stator_ + parallel);
    const Z rotor = i * magnetising_ / (magnetising_ + cage);
    const double gap = 3.0 * std::norm(rotor) * r_r_ / slip;
    return {i, rotor, gap / synchronous_rad_s(), std::cos(std::arg(i)), 3.0 * v_ * i.real(), gap};
  }

  Z thevenin_impedance() const { return stator_ * magnetising_ / (stator_ + magnetising_); }
  double thevenin_V() const { return v_ * std::abs(magnetising_ / (stator_ + magnetising_)); }
  /// Largest torque of a motor, and the slip at which it is.
  double breakdown_slip() const {
    const Z z = thevenin_impedance() + leakage_;
    return r_r_ / std::hypot(z.real(), z.imag());
  }
  double breakdown_Nm() const {
    const Z z = thevenin_impedance() + leakage_;
    const double v = thevenin_V();
    return 1.5 * v * v / synchronous_rad_s() /
           (thevenin_impedance().real() + std::hypot(z.real(), z.imag()));
  }

 private:
  double omega_, pole_pairs_, r_r_, v_;
  Z stator_, magnetising_, leakage_;
};

}  // namespace stillrotor::reference
