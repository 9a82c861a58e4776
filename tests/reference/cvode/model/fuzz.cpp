#include "tests/reference/cvode/model/fuzz.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "tests/reference/cvode/model/drawn_gates.hpp"
#include "tests/reference/cvode/model/drawn_kinds.hpp"
#include "tests/reference/cvode/model/story.hpp"

namespace stillrotor::reference {
Experiment fuzzed_experiment(std::uint64_t seed, std::string& story) {
  Draw draw(seed);
  Experiment e;
  auto& p = e.parameters;
  auto& m = p.machine;
  m.pole_pairs = draw.whole(1, 12);
  m.inductance_d_H = draw.logarithmic(30e-6, 1e-3);
  m.inductance_q_H = m.inductance_d_H * (draw.chance(0.3) ? 1.0 : draw.linear(0.7, 2.5));
  m.winding_resistance_ohm = m.inductance_d_H / draw.logarithmic(0.3e-3, 10e-3);
  p.supply.voltage_V = draw.linear(12.0, 96.0);
  const double omega_e = draw.logarithmic(20.0, 5000.0) * (draw.chance(0.5) ? 1.0 : -1.0);
  // Line EMF from a tenth to 1.3 times the bus, so that some cases rectify.
  m.flux_linkage_Wb =
      draw.linear(0.1, 1.3) * p.supply.voltage_V / (plant::sqrt3 * std::abs(omega_e));
  m.flux_linkage_Wb = std::min(m.flux_linkage_Wb, 0.1);
  const int shape = draw.whole(0, 2);
  if (shape == 1) m.back_emf = plant::trapezoid_harmonics(draw.linear(60.0, 150.0), 13);
  if (shape == 2)
    m.back_emf = {{1, 1.0},
                  {3, draw.linear(-0.3, 0.3)},
                  {5, draw.linear(-0.1, 0.1)},
                  {7, draw.linear(-0.05, 0.05)}};
  p.bridge = {draw.logarithmic(1e-3, 20e-3), draw.linear(0.3, 1.3), draw.logarithmic(1e-3, 20e-3)};
  p.supply.resistance_ohm = draw.logarithmic(10e-3, 0.3);
  p.dc_link = {draw.logarithmic(200e-6, 5e-3), draw.chance(0.2) ? 0.0 : draw.linear(1e-3, 20e-3)};
  if (draw.chance(0.4)) {
    p.supply.kind = plant::SupplyKind::bench_supply;
    p.supply.current_limit_A = draw.logarithmic(3.0, 100.0);
  }

  e.speed_held = draw.chance(0.5);
  e.start_omega_m_rad_s = omega_e / m.pole_pairs;
  e.start_theta_e_rad = draw.linear(0.0, plant::two_pi);
  if (e.speed_held) {
    e.held_acceleration_rad_s2 = draw.linear(-0.3, 0.3) * e.start_omega_m_rad_s / drawn_s;
  } else {
    // Heavy enough that 2 ms of the torque of a full short circuit cannot reverse the rotor: the
    // reference holds the sense of friction constant.
    const double i = p.supply.voltage_V / m.inductance_d_H * drawn_s;
    const double torque = 2.0 * m.pole_pairs * m.flux_linkage_Wb * std::min(i, 2000.0);
    const double reluctance =
        2.0 * m.pole_pairs * std::abs(m.inductance_q_H - m.inductance_d_H) * 4e6;
    p.shaft.inertia_kg_m2 = (torque + reluctance) * drawn_s / std::abs(e.start_omega_m_rad_s) *
                            draw.logarithmic(1.5, 10.0);
    p.shaft.coulomb_friction_Nm = draw.chance(0.5) ? 0.05 * torque * draw.unit() : 0.0;
    p.shaft.viscous_friction_Nm_s_per_rad =
        0.05 * torque / std::abs(e.start_omega_m_rad_s) * draw.unit();
    e.load_Nm = 0.05 * torque * draw.linear(-1.0, 1.0);
  }
  if (draw.chance(0.1)) e.open_leg = draw.whole(0, 2);

  draw_gates(e, draw, static_cast<Pattern>(std::min(draw.whole(0, 9) / 3, 3)));
  for (int n = 1; n <= 100; ++n) e.sample_ps.push_back(ps(drawn_s * (n - draw.unit()) / 100.0));

  // What goes beyond the symmetrical star on a stiff line, drawn last.
  if (draw.chance(0.25)) m.connection = plant::Connection::delta;
  m.inductance_zero_H = m.inductance_d_H * draw.logarithmic(0.05, 0.5);
  if (draw.chance(0.2))
    for (double& factor : m.resistance_factor) factor = draw.logarithmic(0.5, 4.0);
  if (draw.chance(0.15))
    for (double& factor : m.turns_factor) factor = draw.linear(0.85, 1.15);
  if (p.supply.kind == plant::SupplyKind::battery && draw.chance(0.3))
    p.supply.cable_inductance_H = draw.logarithmic(0.5e-6, 10e-6);
  if (!e.speed_held && draw.chance(0.4))
    p.shaft.quadratic_drag_Nm_s2_per_rad2 =
        0.1 * p.shaft.inertia_kg_m2 / drawn_s / std::abs(e.start_omega_m_rad_s) * draw.unit();
  if (e.open_leg < 0 && draw.chance(0.1)) {
    const int leg = draw.whole(0, 2);
    e.changes.push_back({.at_ps = ps(drawn_s * draw.linear(0.2, 0.8)), .leg = leg});
  }

  draw_kinds(e, draw);
  story = told(e);
  return e;
}

// Rated current of a drawn machine: what it carried at its peak, 20 A at least and in fine steps
// 200 A at most, so that neither an idle case nor a short circuit has a tolerance of its own. A
// short of the windings has: of the peak, twice, for its current settles in eight steps, as behind
// a joint.
void expect_fuzzed_agreement(int first, int last, const FuzzedSteps& steps) {
  constexpr double slack_rad_s = 5e-9;  // what both searches leave of a speed that passes through 0
  double worst = 0.0;
  long events = 0;
  for (int n = first; n < last; ++n) {
    const std::uint64_t seed = seed_of_zero + static_cast<std::uint64_t>(n);
    std::string story;
    Experiment e = fuzzed_experiment(seed, story);
    e.parameters.step_max_s = steps.step_max_s;
    Disagreement d;
    try {
      d = compare(e);
    } catch (const std::exception& problem) {
      ADD_FAILURE() << "case " << n << ", seed " << seed << ": reference: " << problem.what()
                    << "\n  " << story;
      continue;
    }
    const bool shorted = std::any_of(e.changes.begin(), e.changes.end(), [](const Change& c) {
      return c.kind == Change::Kind::short_turns || c.kind == Change::Kind::short_phases;
    });
    const bool jointed = std::any_of(e.changes.begin(), e.changes.end(),
                                     [](const Change& c) { return c.kind == Change::Kind::joint; });
    const double rated_A = std::clamp(d.peak_current_A, 20.0, shorted ? 1e9 : steps.most_rated_A);
    EXPECT_LT(d.current_A, (shorted || jointed ? 2.0 : 1.0) * steps.current_share * rated_A)
        << "case " << n << ", seed " << seed << ", at " << d.at_s << " s, peak " << d.peak_current_A
        << " A\n  " << story;
    EXPECT_LT(d.bus_V, steps.link_share * e.parameters.supply.voltage_V)
        << "case " << n << ", seed " << seed << "\n  " << story;
    // A map's own error is one of currents up to the rated one, whatever turns the rotor.
    const double of_map = e.iron ? 20.0 / std::clamp(d.peak_current_A, 1.0, 20.0) : 1.0;
    const double omega = std::max(d.peak_omega_rad_s, std::abs(e.start_omega_m_rad_s));
    EXPECT_LE(d.omega_m_rad_s, of_map * steps.current_share * omega + slack_rad_s)
        << "case " << n << ", seed " << seed << "\n  " << story;
    worst = std::fmax(worst, d.current_A / rated_A);
    events += d.events;
  }
  std::printf("cases %d to %d: worst %.1e of rated current, %ld conduction changes\n", first,
              last - 1, worst, events);
}

Seen fuzzed_cases_that_see(const std::function<bool(Experiment&)>& mistake, int cases) {
  Seen seen;
  for (std::uint64_t n = 0; n < 500 && seen.tried < cases; ++n) {
    std::string story;
    Experiment e = fuzzed_experiment(seed_of_zero + n, story);
    e.parameters.step_max_s = fine_steps.step_max_s;
    Experiment wrong = e;
    if (!mistake(wrong)) continue;
    ++seen.tried;
    const Disagreement d = compare(e, wrong);
    const double rated_A = std::clamp(d.peak_current_A, 20.0, 1e9);
    if (d.current_A > 10.0 * fine_steps.current_share * rated_A ||
        d.omega_m_rad_s > 10.0 * fine_steps.current_share * d.peak_omega_rad_s)
      ++seen.by;
  }
  return seen;
}

}  // namespace stillrotor::reference
