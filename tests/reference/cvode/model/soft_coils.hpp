// Three windings of a star on iron that saturates, by the currents t that flow in all of a
// winding's turns; the iron in closed form (support/soft_iron.hpp), never by a table.
//   lambda_k = psi_d cos(theta_k) - psi_q sin(theta_k) + L_zero/3 sum t,  theta_k = theta - 120 deg
//   k i_d = 2/3 sum t_k cos(theta_k),  i_q = -2/3 sum t_k sin(theta_k)
// Source  Park's transformation, textbook; derived.
#pragma once

#include <Eigen/Core>

#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {

struct SoftCoils {
  Eigen::Vector3d linkage_Wb;
  Eigen::Matrix3d inductance_H;  // incremental: d lambda / d t
  Eigen::Vector3d per_rad_Wb;    // d lambda / d theta, the currents held
  double coenergy_per_rad_J;     // the torque of a pole pair
};

SoftCoils soft_coils(const SoftIron&, double zero_H, double theta, const Eigen::Vector3d& t);

}  // namespace stillrotor::reference
