#include "tests/reference/cvode/model/fuzz.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <random>

namespace stillrotor::reference {
namespace {

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : engine_(seed) {}
  double unit() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }
  double linear(double low, double high) { return low + (high - low) * unit(); }
  double logarithmic(double low, double high) { return low * std::pow(high / low, unit()); }
  bool chance(double probability) { return unit() < probability; }
  int whole(int low, int high) { return low + static_cast<int>(unit() * (high - low + 1)); }

 private:
  std::mt19937_64 engine_;
};

enum class Pattern { pulse_width, six_step, random_switches, all_off };

void pulse_width(Experiment& e, Draw& draw, double duration_s) {
  const double period = 1.0 / draw.linear(8e3, 40e3), dead = draw.linear(0.2e-6, 2e-6);
  for (int k = 0; k < 3; ++k) e.edges.push_back({0, static_cast<Switch>(2 * k + 1), true});
  for (double t = 0.0; t + period < duration_s; t += period)
    for (int k = 0; k < 3; ++k) {
      const double d = draw.linear(0.1, 0.85);
      const auto leg = static_cast<plant::Leg>(k);
      turn_leg(e.edges, leg, true, ps(t + 0.5 * (1.0 - d) * period), ps(dead));
      turn_leg(e.edges, leg, false, ps(t + 0.5 * (1.0 + d) * period), ps(dead));
    }
}

void six_step(Experiment& e, Draw& draw, double duration_s) {
  const double period = 1.0 / draw.linear(8e3, 25e3), sector_s = draw.logarithmic(2e-4, 3e-3);
  constexpr int high_leg[6] = {0, 1, 1, 2, 2, 0}, low_leg[6] = {2, 2, 0, 0, 1, 1};
  const int begin = draw.whole(0, 5), turn = draw.chance(0.5) ? 1 : 5;
  for (int n = 0; (n + 1) * period < duration_s; ++n) {
    const int m = (begin + turn * static_cast<int>(n * period / sector_s)) % 6;
    const auto high = static_cast<Switch>(2 * high_leg[m]);
    const auto low = static_cast<Switch>(2 * low_leg[m] + 1);
    const double t = n * period, d = draw.linear(0.1, 0.9);
    e.edges.push_back({ps(t), low, true});
    e.edges.push_back({ps(t), high, true});
    e.edges.push_back({ps(t + d * period), high, false});
    e.edges.push_back({ps(t + 0.99 * period), low, false});
  }
}

void random_switches(Experiment& e, Draw& draw, double duration_s) {
  const double mean_s = draw.logarithmic(3e-6, 200e-6);
  const bool overlaps = draw.chance(0.2);
  bool on[plant::switch_count] = {};
  for (double t = 0.0; t < duration_s; t -= mean_s * std::log(1.0 - draw.unit())) {
    const int k = draw.whole(0, plant::switch_count - 1);
    const int other = k ^ 1;
    const std::int64_t at = ps(t);
    if (!on[k] && on[other] && !overlaps) {
      e.edges.push_back({at, static_cast<Switch>(other), false});
      on[other] = false;
    }
    on[k] = !on[k];
    e.edges.push_back({at, static_cast<Switch>(k), on[k]});
    if (on[k] && on[other]) {  // a short overlap
      const std::int64_t end = at + ps(draw.linear(0.1e-6, 2e-6));
      e.edges.push_back({end, static_cast<Switch>(other), false});
      on[other] = false;
      t = std::max(t, 1e-12 * static_cast<double>(end));
    }
  }
}

}  // namespace

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
  const double duration_s = 2e-3;
  if (e.speed_held) {
    e.held_acceleration_rad_s2 = draw.linear(-0.3, 0.3) * e.start_omega_m_rad_s / duration_s;
  } else {
    // Heavy enough that 2 ms of the torque of a full short circuit cannot reverse the rotor: the
    // reference holds the sense of friction constant.
    const double i = p.supply.voltage_V / m.inductance_d_H * duration_s;
    const double torque = 2.0 * m.pole_pairs * m.flux_linkage_Wb * std::min(i, 2000.0);
    const double reluctance =
        2.0 * m.pole_pairs * std::abs(m.inductance_q_H - m.inductance_d_H) * 4e6;
    p.shaft.inertia_kg_m2 = (torque + reluctance) * duration_s / std::abs(e.start_omega_m_rad_s) *
                            draw.logarithmic(1.5, 10.0);
    p.shaft.coulomb_friction_Nm = draw.chance(0.5) ? 0.05 * torque * draw.unit() : 0.0;
    p.shaft.viscous_friction_Nm_s_per_rad =
        0.05 * torque / std::abs(e.start_omega_m_rad_s) * draw.unit();
    e.load_Nm = 0.05 * torque * draw.linear(-1.0, 1.0);
  }
  if (draw.chance(0.1)) e.open_leg = draw.whole(0, 2);

  const auto pattern = static_cast<Pattern>(std::min(draw.whole(0, 9) / 3, 3));
  if (pattern == Pattern::pulse_width) pulse_width(e, draw, duration_s);
  if (pattern == Pattern::six_step) six_step(e, draw, duration_s);
  if (pattern == Pattern::random_switches) random_switches(e, draw, duration_s);
  sort_edges(e.edges);
  for (int n = 1; n <= 100; ++n) e.sample_ps.push_back(ps(duration_s * (n - draw.unit()) / 100.0));

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
        0.1 * p.shaft.inertia_kg_m2 / duration_s / std::abs(e.start_omega_m_rad_s) * draw.unit();
  if (e.open_leg < 0 && draw.chance(0.1)) {
    e.cut_leg = draw.whole(0, 2);
    e.cut_ps = ps(duration_s * draw.linear(0.2, 0.8));
  }

  char text[640];
  static constexpr const char* name[] = {"pwm", "six-step", "random gates", "all off"};
  std::snprintf(text, sizeof text,
                "%s, %zu edges, L %.0f/%.0f uH, R %.1f mohm, psi %.2f mWb, shape %d, %.0f rad/s "
                "(electrical)%s, %.1f V %s, link %.2f mF + %.1f mohm, open leg %d, cut leg %d, %s, "
                "R x %.2f %.2f %.2f, turns x %.2f "
                "%.2f %.2f, cable %.1f uH",
                name[static_cast<int>(pattern)], e.edges.size(), 1e6 * m.inductance_d_H,
                1e6 * m.inductance_q_H, 1e3 * m.winding_resistance_ohm, 1e3 * m.flux_linkage_Wb,
                shape, omega_e, e.speed_held ? " held" : "", p.supply.voltage_V,
                p.supply.kind == plant::SupplyKind::battery ? "battery" : "bench supply",
                1e3 * p.dc_link.capacitance_F, 1e3 * p.dc_link.series_resistance_ohm, e.open_leg,
                e.cut_leg, m.connection == plant::Connection::delta ? "delta" : "star",
                m.resistance_factor[0], m.resistance_factor[1], m.resistance_factor[2],
                m.turns_factor[0], m.turns_factor[1], m.turns_factor[2],
                1e6 * p.supply.cable_inductance_H);
  story = text;
  return e;
}

// Rated current of a drawn machine: what it carried at its peak, 20 A at least and in fine steps
// 200 A at most, so that neither an idle case nor a short circuit has a tolerance of its own.
void expect_fuzzed_agreement(int first, int last, const FuzzedSteps& steps) {
  constexpr std::uint64_t seed_of_zero = 0x5711'0000;
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
    const double rated_A = std::clamp(d.peak_current_A, 20.0, steps.most_rated_A);
    EXPECT_LT(d.current_A, steps.current_share * rated_A)
        << "case " << n << ", seed " << seed << ", at " << d.at_s << " s, peak " << d.peak_current_A
        << " A\n  " << story;
    EXPECT_LT(d.bus_V, steps.link_share * e.parameters.supply.voltage_V)
        << "case " << n << ", seed " << seed << "\n  " << story;
    worst = std::fmax(worst, d.current_A / rated_A);
    events += d.events;
  }
  std::printf("cases %d to %d: worst %.1e of rated current, %ld conduction changes\n", first,
              last - 1, worst, events);
}

}  // namespace stillrotor::reference
