#include "tests/io/link/coprocessor/beside_plant.hpp"

#include <algorithm>
#include <cmath>

#include "io/link/coprocessor/rotor_field.h"

namespace stillrotor::io::coprocessor {

plant::DriveParameters mid_drive() {
  plant::DriveParameters d;
  d.machine.pole_pairs = 4;
  d.machine.winding_resistance_ohm = 25e-3;
  d.machine.inductance_d_H = 150e-6;
  d.machine.inductance_q_H = 250e-6;
  d.machine.flux_linkage_Wb = 25e-3;
  d.bridge.switch_on_resistance_ohm = 3e-3;
  d.bridge.diode_voltage_V = 0.8;
  d.bridge.diode_resistance_ohm = 3e-3;
  d.supply.voltage_V = 72.0;
  d.supply.resistance_ohm = 30e-3;
  d.dc_link = {3.3e-3, 6e-3};
  d.shaft.inertia_kg_m2 = 1e3;
  d.step_max_s = 2e-6;
  return d;
}

plant::DriveParameters stiff_mid_drive() {
  plant::DriveParameters d = mid_drive();
  d.supply.resistance_ohm = 1.0;
  d.dc_link = {1e3, 0.0};
  return d;
}

Format mid_format(int step_ticks, int tick) {
  Format f;
  f.tick_s = 1e-12 * tick_ps * tick;
  f.step_ticks = step_ticks;
  return f;
}

Plant converted(const plant::DriveParameters& d, const Format& format) {
  Machine m;
  m.pole_pairs = d.machine.pole_pairs;
  m.winding_resistance_ohm = d.machine.winding_resistance_ohm;
  m.inductance_d_H = d.machine.inductance_d_H;
  m.inductance_q_H = d.machine.inductance_q_H;
  m.flux_linkage_Wb = d.machine.flux_linkage_Wb;
  for (const auto& h : d.machine.back_emf) m.back_emf.push_back({h.order, h.ratio});
  const Bridge b{d.bridge.switch_on_resistance_ohm, d.bridge.diode_voltage_V,
                 d.bridge.diode_resistance_ohm};
  const Link k{d.dc_link.capacitance_F, d.dc_link.series_resistance_ohm, d.supply.voltage_V,
               d.supply.resistance_ohm};
  return plant_parameters(m, b, k, format);
}

std::vector<reference::GateEdge> on_ticks(std::vector<reference::GateEdge> edges,
                                          std::int64_t tick) {
  for (auto& e : edges) e.at_ps = (e.at_ps + tick / 2) / tick * tick;
  reference::sort_edges(edges);
  return edges;
}

Difference compare(const Comparison& c) {
  using namespace reference;
  plant::Drive drive(c.drive);
  plant::StartState start;
  start.theta_m_rad = c.theta_e_rad / c.drive.machine.pole_pairs;
  start.omega_m_rad_s = c.omega_e_rad_s / c.drive.machine.pole_pairs;
  start.bus_V = c.drive.supply.voltage_V;
  drive.start(start);
  hold_electrical(drive, c.omega_e_rad_s);

  const Plant made = converted(c.drive, c.format);
  const Motion motion{start.theta_m_rad, start.omega_m_rad_s, 0.0};
  AngleOutputs no_encoder;
  const cp_angle_parameters angle =
      angle_parameters(no_encoder, c.drive.machine.pole_pairs, made.scale);
  const cp_track_parameters rail = track_parameters(angle, made.scale, 1e-6, 10.0);
  const cp_piece first = piece(made.scale, motion, 0);
  cp_track track;
  cp_track_start(&track, &rail, first.theta);
  cp_track_join(&track, &first, 0);
  cp_plant chip;
  cp_plant_start(&chip, &made.parameters, first.theta, static_cast<std::int32_t>(first.rate >> 32));

  const auto tick = static_cast<std::int64_t>(std::llround(1e12 * c.format.tick_s));
  const std::vector<GateEdge> edges = on_ticks(c.edges, tick);
  const std::vector<GateEdge> seen = c.chip_edges.empty() ? edges : on_ticks(c.chip_edges, tick);
  const std::int64_t step_ps = c.format.step_ticks * tick;
  std::size_t next = 0, next_seen = 0;
  std::uint32_t gates = 0;
  std::int64_t now_ps = 0;
  Difference d;
  double sum = 0.0;
  std::int64_t looks = 0;
  const auto run_to = [&](std::int64_t to_ps) {
    if (to_ps > now_ps)
      cp_plant_advance(&chip, static_cast<std::uint32_t>((to_ps - now_ps) / tick));
    now_ps = to_ps;
  };
  for (std::int64_t end_ps = step_ps; 1e-12 * static_cast<double>(end_ps) <= c.lasts_s;
       end_ps += step_ps) {
    for (; next_seen < seen.size() && seen[next_seen].at_ps < end_ps; ++next_seen) {
      run_to(seen[next_seen].at_ps);
      const std::uint32_t bit = 1U << static_cast<unsigned>(seen[next_seen].gate);
      gates = seen[next_seen].on ? gates | bit : gates & ~bit;
      cp_plant_gates(&chip, gates);
    }
    run_to(end_ps);
    cp_track_step(&track);
    if (cp_field_step(&chip))
      cp_field_aim(&chip, track.theta + CP_FIELD_AHEAD * static_cast<std::uint32_t>(track.moved));
    for (; next < edges.size() && edges[next].at_ps < end_ps; ++next) {
      advance_to(drive, edges[next].at_ps);
      drive.set_switch(edges[next].gate, edges[next].on);
    }
    advance_to(drive, end_ps);
    if (1e-12 * static_cast<double>(end_ps) < c.from_s) continue;
    const plant::Snapshot s = drive.snapshot();
    const double a = made.scale.ampere;
    const double i[3] = {chip.i[0] * a, chip.i[1] * a, chip.i[2] * a};
    const double off[3] = {std::fabs(i[0] - s.current_A.U), std::fabs(i[1] - s.current_A.V),
                           std::fabs(i[2] - s.current_A.W)};
    for (double x : off) {
      d.worst_A = std::max(d.worst_A, x);
      sum += x;
      ++looks;
    }
    d.largest_A = std::max({d.largest_A, std::fabs(s.current_A.U), std::fabs(s.current_A.V),
                            std::fabs(s.current_A.W)});
    // The chip's bus is of the piece's begin.
    d.worst_bus_V = std::max(d.worst_bus_V, std::fabs(chip.bus * made.scale.volt - s.bus_V));
  }
  d.mean_A = sum / static_cast<double>(looks);
  d.flags = chip.flags;
  return d;
}

}  // namespace stillrotor::io::coprocessor
