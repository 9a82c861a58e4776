#include <algorithm>
#include <cmath>
#include <cstdio>

#include "tests/reference/benches/model/bench.hpp"
#include "tests/reference/benches/model/drawn_sensors.hpp"
#include "tests/reference/cvode/model/fuzz.hpp"
#include "tests/reference/cvode/model/story.hpp"
#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {
namespace {

/// A dynamometer that speeds up, slows down and reverses, its speed always a continuous one.
void draw_held_ramps(Bench& b, Draw& draw) {
  Experiment& e = b.drive;
  const double most = std::abs(e.start_omega_m_rad_s);
  e.held_acceleration_rad_s2 = -draw.linear(0.5, 4.0) * e.start_omega_m_rad_s / drawn_s;
  double omega = e.start_omega_m_rad_s, rate = e.held_acceleration_rad_s2;
  std::int64_t before_ps = 0;
  for (int n = draw.whole(0, 4); n > 0; --n) {
    const std::int64_t at_ps = before_ps + ps(drawn_s * draw.linear(0.05, 0.3));
    omega += rate * 1e-12 * static_cast<double>(at_ps - before_ps);
    rate = draw.linear(-4.0, 4.0) * most / drawn_s;
    before_ps = at_ps;
    if (at_ps >= ps(drawn_s)) return;
    b.happenings.push_back(
        {.at_ps = at_ps, .kind = Happening::Kind::held_ramp, .value = omega, .rate = rate});
  }
}

/// A rotor without dry friction that its load turns back; the reference holds friction's sense.
void draw_turning_back(Bench& b, Draw& draw) {
  Experiment& e = b.drive;
  auto& s = e.parameters.shaft;
  s.coulomb_friction_Nm = s.rolling_resistance = s.static_torque_Nm = 0.0;
  const double lever_m = s.wheel_radius_m / s.gear_ratio;
  const double inertia = s.inertia_kg_m2 + s.load_inertia_kg_m2 / (s.gear_ratio * s.gear_ratio) +
                         s.cart_mass_kg * lever_m * lever_m;
  e.load_Nm = draw.linear(1.2, 5.0) * inertia * e.start_omega_m_rad_s / drawn_s;
  e.load_Nm_per_s = -draw.linear(0.0, 2.0) * e.load_Nm / drawn_s;
}

/// What benches leave to the drives alone: changes that come with temperatures of their own, that a
/// contactor or a connector makes of itself, that take a leg to the negative rail or fail a switch.
void leave_to_drives(Experiment& e) {
  std::erase_if(e.changes, [](const Change& c) {
    using Kind = Change::Kind;
    return c.kind != Kind::cut && c.kind != Kind::part_supply && c.kind != Kind::chopper &&
           c.kind != Kind::joint && c.kind != Kind::short_turns && c.kind != Kind::short_phases;
  });
  e.parameters.contactor = {};
}

/// What the plant's inner loop takes: nothing ramps, one mass, a star of equal windings behind a
/// plain wire; a sine, or another shape with one inductance.
void make_plain(Experiment& e) {
  auto& p = e.parameters;
  auto& m = p.machine;
  p.induction.reset();
  m.connection = plant::Connection::star;
  m.cogging = {};
  m.iron_loss = {};
  if (!m.back_emf.empty()) m.inductance_q_H = m.inductance_d_H;
  for (int k = 0; k < 3; ++k) m.resistance_factor[k] = m.turns_factor[k] = 1.0;
  p.bridge.output_capacitance_F = p.supply.cable_inductance_H = 0.0;
  p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 0.0;
  p.shaft.coupling = plant::Coupling::rigid;
  p.shaft.gear_efficiency = 1.0;
  e.held_acceleration_rad_s2 = e.load_Nm_per_s = e.supply_V_per_s = e.ripple_V = e.ripple_Hz = 0.0;
  std::erase_if(e.changes, [](const Change& c) {
    return c.kind == Change::Kind::joint || c.kind == Change::Kind::short_turns ||
           c.kind == Change::Kind::short_phases;
  });
}

/// Bodies small enough for a run of two ticks to warm them, no quicker than ticks allow.
void draw_heat_paths(Bench& b, Draw& draw) {
  auto& p = b.drive.parameters;
  auto& t = p.thermal;
  t.fitted = draw.chance(0.6);
  t.ambient_K = draw.linear(250.0, 330.0);
  for (double* path : {&t.winding_to_housing_K_per_W, &t.magnet_to_housing_K_per_W,
                       &t.housing_to_ambient_K_per_W, &t.heatsink_to_ambient_K_per_W})
    *path = draw.logarithmic(0.2, 5.0);
  const double all_S = 1.0 / t.winding_to_housing_K_per_W + 1.0 / t.magnet_to_housing_K_per_W +
                       1.0 / t.housing_to_ambient_K_per_W;
  const auto quick = [&](double paths_S) { return 20e-3 * paths_S * draw.logarithmic(1.01, 20.0); };
  t.winding_capacity_J_per_K = quick(1.0 / t.winding_to_housing_K_per_W);
  t.magnet_capacity_J_per_K = quick(1.0 / t.magnet_to_housing_K_per_W);
  t.housing_capacity_J_per_K = quick(all_S);
  t.heatsink_capacity_J_per_K = quick(1.0 / t.heatsink_to_ambient_K_per_W);
  const int pairs = draw.whole(0, 4);
  for (int k = 0; k < 4; ++k)
    t.junction[static_cast<std::size_t>(k)] = {k < pairs ? draw.logarithmic(0.01, 1.0) : 0.0,
                                               draw.logarithmic(50e-6, 100e-3)};
  // Terminals that swing have no model for what a flux that jumps does to them.
  if (!draw.chance(0.6) || p.bridge.output_capacitance_F > 0.0)
    p.machine.flux_temperature_coefficient_per_K = 0.0;
  // A short between turns has the leakage of its resistance when it came.
  const auto& changes = b.drive.changes;
  if (std::any_of(changes.begin(), changes.end(),
                  [](const Change& c) { return c.kind == Change::Kind::short_turns; }))
    p.machine.winding_temperature_coefficient_per_K = 0.0;
}

void draw_gate_driver(plant::GateDriverParameters& g, Draw& draw) {
  for (int k = 0; k < plant::switch_count; ++k) {
    g.on_delay_s[k] = draw.linear(0.0, 2e-6);
    g.off_delay_s[k] = draw.linear(0.0, 2e-6);
  }
  if (!draw.chance(0.5)) return;
  g.trip_A = draw.logarithmic(5.0, 500.0);
  g.trip_delay_s = draw.linear(0.0, 5e-6);
  g.retry_after_s = draw.chance(0.3) ? 0.0 : draw.logarithmic(20e-6, 500e-6);
}

/// A battery that a run of milliseconds moves.
void draw_battery(plant::SupplyParameters& s, Draw& draw) {
  if (s.kind != plant::SupplyKind::battery) return;
  s.battery.capacity_C = draw.logarithmic(0.05, 100.0);
  s.battery.open_circuit_V = {
      {0.0, 0.7 * s.voltage_V}, {0.5, s.voltage_V}, {1.0, 1.1 * s.voltage_V}};
  s.battery.branch[0] = {s.resistance_ohm * draw.unit(), draw.logarithmic(0.2e-3, 1.0)};
}

}  // namespace

Bench drawn_beyond_reference(std::uint64_t seed, double step_max_s) {
  Bench b = drawn_bench(seed, step_max_s);
  Draw draw(seed ^ 0xBE70'4D00'0000'0000U);
  auto& p = b.drive.parameters;
  auto& m = p.machine;
  if (draw.chance(0.5)) draw_gate_driver(p.gate_driver, draw);
  const bool plain_star = !p.induction && m.connection == plant::Connection::star &&
                          m.equal_turns() && m.turns_factor[0] == 1.0 &&
                          std::count(m.resistance_factor, m.resistance_factor + 3, 1.0) == 3;
  if (plain_star && draw.chance(0.5)) m.flux_map = SoftIron{}.table(-250, 150, -250, 250, 25);
  if (draw.chance(0.3)) {
    m.demagnetisation.possible = true;
    m.demagnetisation.knee_A = -draw.logarithmic(5.0, 200.0);
    // What a current takes of them is put right after each step: of first order in it.
    p.step_max_s = 0.2 * step_max_s;
  }
  if (draw.chance(0.5)) draw_battery(p.supply, draw);
  if (!b.drive.speed_held && draw.chance(0.5))
    p.shaft.coulomb_friction_Nm = draw.linear(0.2, 2.0) * std::abs(b.drive.load_Nm);
  return b;
}

std::string told(const Bench& b) {
  const auto& p = b.drive.parameters;
  const auto& c = p.phase_current;
  const auto& d = p.dc_link_current;
  char text[900];
  std::snprintf(
      text, sizeof text,
      "\n  Halls %d: hysteresis %.3f, jitter %.3f rad; encoder %d: %d lines, %zu "
      "missing; absolute %d of %d bits; phase currents %d: %.0f kHz, slew %.2g V/s, compression "
      "%.2f, hysteresis %.2f A; DC link %d: %.0f kHz, slew %.2g, compression %.2f, hysteresis %.2f "
      "A; filters %.2g, %.2g s; heat paths %d, magnets %.4f/K; %zu happenings",
      p.hall.fitted, p.hall.hysteresis_rad, p.hall.jitter_rad, p.encoder.fitted, p.encoder.lines,
      p.encoder.missing_lines.size(), static_cast<int>(p.absolute_angle.output),
      p.absolute_angle.bits, static_cast<int>(c.kind), 1e-3 * c.bandwidth_Hz, c.slew_V_per_s,
      c.compression, c.hysteresis_A, static_cast<int>(d.kind), 1e-3 * d.bandwidth_Hz,
      d.slew_V_per_s, d.compression, d.hysteresis_A, p.bus_voltage.filter_s,
      p.phase_voltage.filter_s, p.thermal.fitted, p.machine.flux_temperature_coefficient_per_K,
      b.happenings.size());
  return reference::told(b.drive) + text;
}

std::vector<Moment> moments(const Bench& b) {
  std::vector<Moment> all;
  const auto add = [&](Moment::What what, std::size_t count, const auto& at_ps) {
    for (std::size_t k = 0; k < count; ++k) all.push_back({at_ps(k), what, k});
  };
  add(Moment::What::gate, b.drive.edges.size(), [&](auto k) { return b.drive.edges[k].at_ps; });
  add(Moment::What::change, b.drive.changes.size(),
      [&](auto k) { return b.drive.changes[k].at_ps; });
  add(Moment::What::happening, b.happenings.size(), [&](auto k) { return b.happenings[k].at_ps; });
  add(Moment::What::reading, b.drive.sample_ps.size(),
      [&](auto k) { return b.drive.sample_ps[k]; });
  std::stable_sort(all.begin(), all.end(), [](const Moment& a, const Moment& z) {
    return a.at_ps != z.at_ps ? a.at_ps < z.at_ps : a.what < z.what;
  });
  return all;
}

Bench drawn_bench(std::uint64_t seed, double step_max_s) {
  Bench b;
  std::string story;
  b.drive = fuzzed_experiment(seed, story);
  b.drive.parameters.step_max_s = step_max_s;
  leave_to_drives(b.drive);
  Draw draw(seed ^ 0xBE7C'4000'0000'0000U);
  b.drive.parameters.seed = seed + 17;
  if (draw.chance(0.3)) {
    make_plain(b.drive);
  } else if (draw.chance(0.5)) {
    if (b.drive.speed_held)
      draw_held_ramps(b, draw);
    else
      draw_turning_back(b, draw);
  }
  // Beyond the drive's own changes, to see the second tick of heat.
  for (const double beyond : {1.01, 1.05}) b.drive.sample_ps.push_back(ps(beyond * drawn_s));
  draw_position_sensors(b, draw);
  draw_analog_sensors(b, draw);
  draw_heat_paths(b, draw);
  draw_happenings(b, draw);
  std::stable_sort(b.happenings.begin(), b.happenings.end(),
                   [](const Happening& x, const Happening& y) { return x.at_ps < y.at_ps; });
  return b;
}

}  // namespace stillrotor::reference
