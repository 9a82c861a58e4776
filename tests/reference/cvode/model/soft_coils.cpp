#include "tests/reference/cvode/model/soft_coils.hpp"

#include <cmath>
#include <numbers>

namespace stillrotor::reference {

SoftCoils soft_coils(const SoftIron& iron, double zero_H, double theta, const Eigen::Vector3d& t) {
  Eigen::Vector3d c, s;  // lambda's share of psi_d and psi_q
  for (int k = 0; k < 3; ++k) {
    const double at = theta - 2.0 * std::numbers::pi / 3.0 * k;
    c[k] = std::cos(at);
    s[k] = -std::sin(at);
  }
  const double i_d = 2.0 / 3.0 * c.dot(t), i_q = 2.0 / 3.0 * s.dot(t);
  const double psi_d = iron.psi_d(i_d, i_q), psi_q = iron.psi_q(i_d, i_q);
  const double dd = iron.l_dd(i_d, i_q), dq = iron.l_dq(i_d, i_q), qq = iron.l_qq(i_d, i_q);
  SoftCoils out;
  out.linkage_Wb = psi_d * c + psi_q * s + Eigen::Vector3d::Constant(zero_H / 3.0 * t.sum());
  out.inductance_H = 2.0 / 3.0 *
                         (dd * c * c.transpose() + qq * s * s.transpose() +
                          dq * (c * s.transpose() + s * c.transpose())) +
                     Eigen::Matrix3d::Constant(zero_H / 3.0);
  // dc/dtheta = s, ds/dtheta = -c, so di_d/dtheta = i_q, di_q/dtheta = -i_d.
  out.per_rad_Wb = psi_d * s - psi_q * c + (dd * i_q - dq * i_d) * c + (dq * i_q - qq * i_d) * s;
  out.coenergy_per_rad_J = 1.5 * (psi_d * i_q - psi_q * i_d);
  return out;
}

}  // namespace stillrotor::reference
