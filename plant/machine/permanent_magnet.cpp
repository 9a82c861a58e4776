#include "plant/machine/permanent_magnet.hpp"

#include <cmath>
#include <stdexcept>

#include "plant/frames.hpp"

namespace stillrotor::plant {
namespace {
/// Half the length of the slope between two flat tops: the trapezoid rises from 0 to E over it.
double ramp_rad(double flat_top_deg) {
  if (!(flat_top_deg > 0.0 && flat_top_deg < 180.0))
    throw std::invalid_argument("machine.back_emf.flat_top: allowed above 0 to below 180 deg");
  return (180.0 - flat_top_deg) / 2.0 * pi / 180.0;
}
}  // namespace

// Harmonic n of a winding's EMF, seen from the star: its line-to-line value is sqrt(3) of the
// phase's, turned by +-30 deg; with the windings 30 deg ahead that leaves a sign for each sixth
// order.
PermanentMagnetParameters equivalent_star(const PermanentMagnetParameters& given) {
  PermanentMagnetParameters star = given;
  if (given.connection == Connection::star) return star;
  star.connection = Connection::star;
  star.winding_resistance_ohm /= 3.0;
  star.inductance_d_H /= 3.0;
  star.inductance_q_H /= 3.0;
  star.flux_linkage_Wb /= sqrt3;
  star.back_emf.clear();
  for (const auto& h : given.back_emf) {
    if (h.order % 3 == 0) continue;
    const int sixths = (h.order + 1) / 6;
    star.back_emf.push_back({h.order, sixths % 2 == 0 ? h.ratio : -h.ratio});
  }
  return star;
}

// Fourier series of a trapezoid of height E and ramp a: b_n = 4 E sin(n a) / (pi a n^2), n odd.
// Source: textbook (Fourier series of a trapezoidal wave), from memory.
std::vector<BackEmfHarmonic> trapezoid_harmonics(double flat_top_deg, int max_order) {
  const double ramp = ramp_rad(flat_top_deg);
  std::vector<BackEmfHarmonic> out;
  for (int n = 1; n <= max_order; n += 2)
    out.push_back({n, n == 1 ? 1.0 : std::sin(n * ramp) / (n * n * std::sin(ramp))});
  return out;
}

double trapezoid_flat_over_fundamental(double flat_top_deg) {
  const double ramp = ramp_rad(flat_top_deg);
  return pi * ramp / (4.0 * std::sin(ramp));
}

}  // namespace stillrotor::plant
