// A saturated machine in closed form, for checks of the plant's flux maps. Invented values.
//   W' = A r + 1/2 l_d x^2 + 1/2 l_q i_q^2 + psi_0 i_d,  r = sqrt(1 + (x/a)^2 + (i_q/b)^2),
//   x = i_d + i_m
// Fluxes are its slopes, so the two axes couple reciprocally; incremental inductances are its
// second slopes. Convex, hence a flux rises with its current everywhere. Units A, Wb, H; W' in J
// per 3/2.
#pragma once

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {

struct SoftIron {
  double A = 3.75, a = 150.0, b = 120.0, i_m = 100.0, l_d = 30e-6, l_q = 60e-6, psi_0 = 0.0;

  double root(double i_d, double i_q) const;
  double psi_d(double i_d, double i_q) const;
  double psi_q(double i_d, double i_q) const;
  double l_dd(double i_d, double i_q) const;
  double l_dq(double i_d, double i_q) const;
  double l_qq(double i_d, double i_q) const;
  double torque_Nm(double i_d, double i_q, int pole_pairs) const;

  /// Tables on these currents, or from least to most in equal steps.
  plant::FluxMapTable table(const std::vector<double>& i_d_A,
                            const std::vector<double>& i_q_A) const;
  plant::FluxMapTable table(double d_least, double d_most, double q_least, double q_most,
                            double step_A) const;
};

/// stiff_drive() with this machine, mapped from -250 to 150 A on d and -250 to 250 A on q.
plant::DriveParameters soft_iron_drive(const SoftIron&, double step_A);

/// The tables of a machine without saturation.
plant::FluxMapTable linear_table(const plant::PermanentMagnetParameters&, double most_A,
                                 double step_A);

}  // namespace stillrotor::reference
