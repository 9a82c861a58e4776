#include "emulator/partition/bounds.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/partition/link_settings.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {
namespace {

// io/link/coprocessor/README.md measures 0.08 % of 80 A in a format of 200 A at steps of 1 us, 0.25
// at 4 us, 0.61 at 10 us, 1.17 where diodes rectify: below 0.1 + 0.11 a microsecond.
constexpr double rated_share = 0.4, format_share = 1e-3, share_per_s = 1.1e3;
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
  steps_A_ = rated_share * range_A * (format_share + share_per_s * s.step_s());
  stamps_A_ = clock_s * d.supply.voltage_V * 2.0 / (3.0 * l_min);
  per_rad_A_ = star.flux_linkage_Wb * star.pole_pairs / l_min;
  per_rad_of_current_ = (l_max - l_min) / l_min * 2.0 * star.pole_pairs;
  bus_V_ = 1e-3 * range_V + range_A * s.step_s() / d.dc_link.capacitance_F;
  per_A_ohm_ = 2.0 * (d.supply.resistance_ohm + d.dc_link.series_resistance_ohm);
  angle_rad_ = angle_tolerance_rad(bench);
  none_below_A_ = 3.0 * s.ampere;
}

double Bounds::current_A(double before_rad, double now_rad, double current_A) const noexcept {
  return steps_A_ + stamps_A_ +
         (per_rad_A_ + per_rad_of_current_ * current_A) *
             (std::abs(before_rad) + std::abs(now_rad));
}

}  // namespace stillrotor
