#include "tests/reference/support/drive_setup.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {

std::int64_t ps(double seconds) { return std::llround(seconds * 1e12); }

plant::DriveParameters stiff_drive() {
  plant::DriveParameters p;
  p.dc_link.capacitance_F = 1e9;
  p.dc_link.series_resistance_ohm = 0.0;
  p.supply.resistance_ohm = 1.0;
  p.step_max_s = 5e-6;
  return p;
}

plant::DriveParameters stiff_trapezoid(double flat_top_deg, int max_order) {
  plant::DriveParameters p = stiff_drive();
  p.machine.back_emf = plant::trapezoid_harmonics(flat_top_deg, max_order);
  return p;
}

std::vector<plant::BackEmfHarmonic> shape_of(const plant::PermanentMagnetParameters& machine) {
  if (machine.back_emf.empty()) return {{1, 1.0}};
  return machine.back_emf;
}

void only_on(plant::Drive& drive, std::initializer_list<Switch> on) {
  const auto wanted = [&](Switch s) { return std::find(on.begin(), on.end(), s) != on.end(); };
  for (int k = 0; k < plant::switch_count; ++k)
    if (!wanted(static_cast<Switch>(k))) drive.set_switch(static_cast<Switch>(k), false);
  for (Switch s : on) drive.set_switch(s, true);
}

void hold_electrical(plant::Drive& drive, double omega_e_rad_s) {
  drive.hold_speed_rad_s({omega_e_rad_s / drive.parameters().pole_pairs(), 0.0});
}

void place(plant::Drive& drive, double theta_e_rad, const plant::AlphaBeta& current_A) {
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  plant::DriveState s = drive.state();
  const double turns = std::floor(theta_e_rad / plant::two_pi);
  s.theta_e_rad = theta_e_rad - turns * plant::two_pi;
  s.cos_e = std::cos(theta_e_rad);
  s.sin_e = std::sin(theta_e_rad);
  s.i_alpha_A = current_A.alpha;
  s.i_beta_A = current_A.beta;
  drive.restore(s);
}

void advance_to(plant::Drive& drive, std::int64_t until_ps, plant::SegmentObserver* observer) {
  while (drive.advance(until_ps, observer).edge) {
  }
}

void advance_by(plant::Drive& drive, double duration_s, plant::SegmentObserver* observer) {
  advance_to(drive, drive.state().time_ps + ps(duration_s), observer);
}

double seconds(const plant::Continuous& s) {
  return 1e-12 * static_cast<double>(s.time_ps) + s.offset_s;
}

}  // namespace stillrotor::reference
