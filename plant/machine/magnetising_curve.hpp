// The magnetising branch of an induction machine, seen from g = psi_r + L_lr i_s, the flux linkage
// that rotor flux and stator current fix together:
//   g = psi_m(i_m) + L_lr i_m,   i_m parallel to g,   so i_m = h(|g|) and psi_m = g - L_lr i_m.
// Linear: h = g / (L_m + L_lr). Saturating: from a table of main flux over magnetising current, a
// curve of current over flux through its points that rises wherever they do, straight beyond the
// last; h is a cubic spline of it on even knots, odd at zero, twice continuously differentiable, so
// that fourth order of the integration survives.
// Units  A, Wb, H; peak values of a phase.
// RT     everything but the constructors is safe, O(1).
#pragma once

#include <vector>

namespace stillrotor::plant {

struct MagnetisingPoint {
  double current_A = 0.0, flux_linkage_Wb = 0.0;
};

class MagnetisingCurve {
 public:
  MagnetisingCurve(double magnetising_inductance_H, double rotor_leakage_H) noexcept;
  /// Points without zero, which is understood. Throws std::invalid_argument naming the entry of
  /// machine.magnetising_curve where current or flux do not rise, or bend too suddenly.
  MagnetisingCurve(const std::vector<MagnetisingPoint>&, double rotor_leakage_H);

  struct Value {
    double current_A;       // h
    double slope_A_per_Wb;  // dh/dg
    double integral_J;      // of h over g, from 0
  };
  /// At |g|.
  Value at(double g_Wb) const noexcept;
  bool linear() const noexcept { return pieces_.empty(); }
  /// Greatest dh/dg: where the branch is most saturated.
  double slope_max_A_per_Wb() const noexcept { return slope_max_; }
  /// dh/dg of the linear branch; at g = 0 of any.
  double slope_at_zero_A_per_Wb() const noexcept { return slope_0_; }

 private:
  struct Piece {  // h = a + u (b + u (c + u d)), u from the knot on
    double a, b, c, d, integral_J;
  };
  double slope_0_ = 0.0, slope_max_ = 0.0;
  double knots_per_Wb_ = 0.0, knot_Wb_ = 0.0, end_Wb_ = 0.0;
  Piece beyond_{};
  std::vector<Piece> pieces_;
};

}  // namespace stillrotor::plant
