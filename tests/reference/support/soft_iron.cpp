#include "tests/reference/support/soft_iron.hpp"

#include <cmath>
#include <functional>

namespace stillrotor::reference {
namespace {

using Flux = std::function<double(double, double)>;

plant::FluxMapTable tabulated(const std::vector<double>& d, const std::vector<double>& q,
                              const Flux& psi_d, const Flux& psi_q) {
  plant::FluxMapTable t{d, q, {}, {}};
  for (const double i_d : d)
    for (const double i_q : q) {
      t.psi_d_Wb.push_back(psi_d(i_d, i_q));
      t.psi_q_Wb.push_back(psi_q(i_d, i_q));
    }
  return t;
}

std::vector<double> from_to(double least, double most, double step) {
  std::vector<double> out;
  for (int k = 0; least + k * step <= most + 1e-9; ++k) out.push_back(least + k * step);
  return out;
}

}  // namespace

double SoftIron::root(double i_d, double i_q) const {
  const double x = (i_d + i_m) / a, y = i_q / b;
  return std::sqrt(1.0 + x * x + y * y);
}
double SoftIron::psi_d(double i_d, double i_q) const {
  return (A / (a * a * root(i_d, i_q)) + l_d) * (i_d + i_m) + psi_0;
}
double SoftIron::psi_q(double i_d, double i_q) const {
  return (A / (b * b * root(i_d, i_q)) + l_q) * i_q;
}
double SoftIron::l_dd(double i_d, double i_q) const {
  const double r = root(i_d, i_q), x = (i_d + i_m) / a;
  return A / (a * a * r) * (1.0 - x * x / (r * r)) + l_d;
}
double SoftIron::l_dq(double i_d, double i_q) const {
  const double r = root(i_d, i_q);
  return -A * (i_d + i_m) * i_q / (a * a * b * b * r * r * r);
}
double SoftIron::l_qq(double i_d, double i_q) const {
  const double r = root(i_d, i_q), y = i_q / b;
  return A / (b * b * r) * (1.0 - y * y / (r * r)) + l_q;
}
double SoftIron::torque_Nm(double i_d, double i_q, int pole_pairs) const {
  return 1.5 * pole_pairs * (psi_d(i_d, i_q) * i_q - psi_q(i_d, i_q) * i_d);
}

plant::FluxMapTable SoftIron::table(const std::vector<double>& i_d_A,
                                    const std::vector<double>& i_q_A) const {
  return tabulated(
      i_d_A, i_q_A, [this](double d, double q) { return psi_d(d, q); },
      [this](double d, double q) { return psi_q(d, q); });
}

plant::FluxMapTable SoftIron::table(double d_least, double d_most, double q_least, double q_most,
                                    double step_A) const {
  return table(from_to(d_least, d_most, step_A), from_to(q_least, q_most, step_A));
}

plant::DriveParameters soft_iron_drive(const SoftIron& iron, double step_A) {
  plant::DriveParameters p = stiff_drive();
  p.machine.flux_map = iron.table(-250.0, 150.0, -250.0, 250.0, step_A);
  p.machine.flux_linkage_Wb = iron.psi_d(0.0, 0.0);
  return p;
}

plant::FluxMapTable linear_table(const plant::PermanentMagnetParameters& m, double most_A,
                                 double step_A) {
  const std::vector<double> nodes = from_to(-most_A, most_A, step_A);
  return tabulated(
      nodes, nodes, [&m](double d, double) { return m.flux_linkage_Wb + m.inductance_d_H * d; },
      [&m](double, double q) { return m.inductance_q_H * q; });
}

}  // namespace stillrotor::reference
