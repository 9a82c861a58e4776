#include "emulator/partition/bounds.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/partition/link_settings.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {
namespace {

// io/link/coprocessor/README.md: currents are rounded and read out, by four units; flux linkage and
// the table's numbers to 14 bits, its points by the flux's curvature; resistance and matrix to 13.
constexpr double units = 4.0, of_flux = 3.2e-4, of_flux_bent = 7.5e-5, of_current = 2e-4;
// Of what the bus moves a current in a step. Legs that float look for their voltages one after the
// other: where the third leg's gates change this leaves a quarter in that step, and of what is left
// a quarter in each that follows. Resistance held over a step costs 1 / 2e.
constexpr double held_share = 1.0 / 3.0;
// The link's clock holds an edge within this of its own (io/link/README.md). It moves slowly; an
// edge and the next one of its leg may still be taken by two versions of it.
constexpr double clock_s = 0.5e-6;

/// How much more than a sine's the magnets' flux bends.
double bend(const plant::PermanentMagnetParameters& m) {
  if (m.back_emf.empty()) return 1.0;
  double sum = 0.0;
  for (const plant::BackEmfHarmonic& h : m.back_emf) sum += h.order * std::abs(h.ratio);
  return sum;
}

}  // namespace

Bounds::Bounds(const Bench& bench, const io::LinkSettings& settings) {
  const plant::DriveParameters& d = bench.drive;
  const plant::PermanentMagnetParameters star = plant::equivalent_star(d.machine);
  const io::coprocessor::Scale& s = settings.plant.scale;
  const double l_min = std::min(star.inductance_d_H, star.inductance_q_H);
  const double l_max = std::max(star.inductance_d_H, star.inductance_q_H);
  const double range_A = s.ampere * 32767.0, range_V = s.volt * 0x1p18;
  const double rise_A_per_s = d.supply.voltage_V / l_min;
  const double flux_A = star.flux_linkage_Wb / l_min, uneven = (l_max - l_min) / l_min;
  rounded_A_ = units * s.ampere + (of_flux + of_flux_bent * bend(star)) * flux_A;
  of_current_ = of_current * l_max / l_min;
  held_A_ = held_share * rise_A_per_s * s.step_s();
  stamps_A_ = 2.0 / 3.0 * rise_A_per_s * clock_s;
  per_rad_A_ = flux_A * star.pole_pairs;
  per_rad_of_current_ = uneven * 2.0 * star.pole_pairs;
  interval_s_ = double{CP_REFRESH_STEPS} * s.step_s();
  // A straight line under an arc of x is off by x^2 / 8, at this report and at the last one;
  // saliency turns twice as far, and the current may be 2 / sqrt 3 of its largest phase.
  const double per_rad2 = star.pole_pairs * star.pole_pairs / 4.0;
  straight_A_ = per_rad2 * bend(star) * flux_A;
  straight_of_current_ = per_rad2 * 4.0 * 1.155 * uneven;
  bus_V_ = 1e-3 * range_V + range_A * s.step_s() / d.dc_link.capacitance_F;
  per_A_ohm_ = 2.0 * (d.supply.resistance_ohm + d.dc_link.series_resistance_ohm);
  angle_rad_ = angle_tolerance_rad(bench);
  none_below_A_ = 3.0 * s.ampere;
}

double Bounds::current_A(double before_rad, double now_rad, double omega_m_rad_s,
                         double current_A) const noexcept {
  const double turned_rad = omega_m_rad_s * interval_s_;
  return rounded_A_ + of_current_ * current_A + held_A_ + stamps_A_ +
         (per_rad_A_ + per_rad_of_current_ * current_A) *
             (std::abs(before_rad) + std::abs(now_rad)) +
         (straight_A_ + straight_of_current_ * current_A) * turned_rad * turned_rad;
}

}  // namespace stillrotor
