#include "emulator/partition/bounds.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/partition/link_settings.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {
namespace {

// io/link/coprocessor/README.md: three units of current where it is rounded and read out; the
// table's points, the flux linkage and the matrix to 14 bits, a resistance to 13.
constexpr double units = 3.0, of_flux = 4e-4, of_current = 2e-4;
// Measured there: what is held over a step, in shares of what the bus moves the current in it. 0.18
// at steps of 10 us where diodes rectify, the worst case.
constexpr double held_share = 0.2;
// The link's clock holds an edge within this of its own (io/link/README.md). It moves slowly; an
// edge and the next one of its leg may still be taken by two versions of it.
constexpr double clock_s = 0.5e-6;

}  // namespace

Bounds::Bounds(const Bench& bench, const io::LinkSettings& settings) {
  const plant::DriveParameters& d = bench.drive;
  const plant::PermanentMagnetParameters star = plant::equivalent_star(d.machine);
  const io::coprocessor::Scale& s = settings.plant.scale;
  const double l_min = std::min(star.inductance_d_H, star.inductance_q_H);
  const double l_max = std::max(star.inductance_d_H, star.inductance_q_H);
  const double range_A = s.ampere * 32767.0, range_V = s.volt * 0x1p18;
  const double rise_A_per_s = d.supply.voltage_V / l_min;
  rounded_A_ = units * s.ampere + of_flux * star.flux_linkage_Wb / l_min;
  held_A_ = held_share * rise_A_per_s * s.step_s();
  stamps_A_ = 2.0 / 3.0 * rise_A_per_s * clock_s;
  per_rad_A_ = star.flux_linkage_Wb * star.pole_pairs / l_min;
  per_rad_of_current_ = (l_max - l_min) / l_min * 2.0 * star.pole_pairs;
  bus_V_ = 1e-3 * range_V + range_A * s.step_s() / d.dc_link.capacitance_F;
  per_A_ohm_ = 2.0 * (d.supply.resistance_ohm + d.dc_link.series_resistance_ohm);
  angle_rad_ = angle_tolerance_rad(bench);
  none_below_A_ = 3.0 * s.ampere;
}

double Bounds::current_A(double before_rad, double now_rad, double current_A) const noexcept {
  return rounded_A_ + of_current * current_A + held_A_ + stamps_A_ +
         (per_rad_A_ + per_rad_of_current_ * current_A) *
             (std::abs(before_rad) + std::abs(now_rad));
}

}  // namespace stillrotor
