// The induction machine a second time, another way: six coils, three on the stator and three on the
// turning rotor, with mutual inductances that follow the rotor's angle; states are the six flux
// linkages, the speed and the angle. No complex vectors, no common frame.
//   v_s = R_s i_s + d lambda_s/dt,  0 = R_r i_r + d lambda_r/dt
//   lambda_s = L_s i_s + M(theta) i_r,  lambda_r = M^T i_s + L_r i_r
//   M_jk = L_ms cos(theta + 120 deg (k - j)),  L_ms = 2/3 L_m,  T = p i_s^T dM/dtheta i_r
// The three stator voltages sum to zero, so the star point needs no equation.
// Source  textbook (induction machine in machine variables), from memory.
#pragma once

#include <Eigen/Dense>
#include <functional>

#include "plant/machine/induction.hpp"

namespace stillrotor::reference {

struct ThreePhaseState {
  Eigen::Matrix<double, 6, 1> linkage_Wb = Eigen::Matrix<double, 6, 1>::Zero();
  double omega_m_rad_s = 0.0, theta_e_rad = 0.0;
};

class ThreePhaseMachine {
 public:
  ThreePhaseMachine(const plant::InductionParameters&, double inertia_kg_m2);

  ThreePhaseState rates(const ThreePhaseState&, const Eigen::Vector3d& stator_V) const;
  Eigen::Matrix<double, 6, 1> currents_A(const ThreePhaseState&) const;
  double torque_Nm(const ThreePhaseState&) const;

 private:
  Eigen::Matrix3d mutual(double theta_e, bool derivative) const;
  Eigen::Matrix<double, 6, 6> inductance(double theta_e) const;
  plant::InductionParameters p_;
  double inertia_;
};

/// CVODE (Adams) from rest, no load. stator_V: over time. Samples at every_s, the start left out.
struct ThreePhaseRun {
  std::function<Eigen::Vector3d(double)> stator_V;
  double every_s, until_s, tolerance;
};
void run(const ThreePhaseMachine&, const ThreePhaseRun&,
         const std::function<void(double, const ThreePhaseState&)>& sample);

}  // namespace stillrotor::reference
