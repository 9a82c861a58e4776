// Iron losses: hysteresis and eddy currents of the stator's iron under the rotating flux, as a drag
// on the rotor.
//   P = P_ref (|psi| / psi_ref)^2 (share f/f_ref + (1 - share) (f/f_ref)^2),   T = P / omega_m
// psi is the whole flux linkage, so field weakening lowers the loss and q current raises it. At
// standstill the torque passes smoothly through zero, with omega / sqrt(omega^2 + omega_0^2) in
// place of the sign and omega_0 a hundredth of the reference speed: friction, not this, is what
// holds a rotor. Left out: losses by the ripple of PWM.
// Source  textbook (loss by frequency and flux density, exponent 2), from memory.
// Units  W, Hz, rad/s mechanical.  RT: safe, O(1).
#pragma once

#include <cmath>

#include "plant/frames.hpp"

namespace stillrotor::plant {

struct IronLossParameters {
  double reference_W = 0.0;               // no load, at the reference frequency; 0: none
  double reference_frequency_Hz = 100.0;  // electrical, > 0
  double hysteresis_share = 0.5;          // of reference_W, 0 to 1
};

class IronLoss {
 public:
  IronLoss(const IronLossParameters& p, int pole_pairs, double psi_ref_Wb)
      : any_(p.reference_W > 0.0) {
    if (!any_) return;
    const double omega_ref = two_pi * p.reference_frequency_Hz / pole_pairs;
    const double per_flux = 1.0 / (psi_ref_Wb * psi_ref_Wb);
    soft_ = 0.01 * omega_ref * 0.01 * omega_ref;
    hysteresis_ = p.hysteresis_share * p.reference_W / omega_ref * per_flux * std::sqrt(1.0001);
    eddy_ = (1.0 - p.hysteresis_share) * p.reference_W / (omega_ref * omega_ref) * per_flux;
  }
  bool any() const noexcept { return any_; }
  /// Opposes the turning; times omega_m it is the loss [N m].
  double drag_Nm(double psi_squared_Wb2, double omega_m) const noexcept {
    return psi_squared_Wb2 * omega_m * (eddy_ + hysteresis_ / std::sqrt(omega_m * omega_m + soft_));
  }
  /// Most that the drag by the square of the linkage rises with speed: at standstill.
  double steepest_per_rad_s() const noexcept {
    return any_ ? eddy_ + hysteresis_ / std::sqrt(soft_) : 0.0;
  }
  /// That drag by the square of the linkage [N m/Wb^2], at a speed and by the way from it.
  struct Line {
    double at = 0.0, per_rad_s = 0.0;
  };
  Line line(double omega_m) const noexcept {
    const double square = 1.0 / (omega_m * omega_m + soft_), root = std::sqrt(square);
    return {omega_m * (eddy_ + hysteresis_ * root), eddy_ + hysteresis_ * soft_ * square * root};
  }

 private:
  bool any_;
  double soft_ = 1.0, hysteresis_ = 0.0, eddy_ = 0.0;
};

}  // namespace stillrotor::plant
