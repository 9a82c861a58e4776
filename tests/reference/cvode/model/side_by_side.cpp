#include "tests/reference/cvode/model/side_by_side.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {

AbcState start_state(const Experiment& e) {
  AbcState start;
  const auto& contactor = e.parameters.contactor;
  const bool open = contactor.fitted && !contactor.closed_at_start;
  start.source_V = e.parameters.supply.voltage_V;
  start.v_cap_V = open ? 0.0 : start.source_V;
  start.charge = e.parameters.supply.battery.charge;
  start.omega_m_rad_s = start.omega_2_rad_s = e.start_omega_m_rad_s;
  start.theta_e_rad = e.start_theta_e_rad;
  return start;
}

AbcInputs start_inputs(const Experiment& e) {
  const auto& contactor = e.parameters.contactor;
  AbcInputs inputs;
  inputs.iron = e.iron;
  inputs.speed_held = e.speed_held;
  inputs.held_acceleration_rad_s2 = e.held_acceleration_rad_s2;
  inputs.load_Nm = e.load_Nm;
  inputs.load_Nm_per_s = e.load_Nm_per_s;
  inputs.road = e.road;
  inputs.supply_V_per_s = e.supply_V_per_s;
  inputs.path.contactor_open = contactor.fitted && !contactor.closed_at_start;
  inputs.path.pre_charge_ohm = contactor.pre_charge_ohm;
  inputs.ripple_V = e.ripple_V;
  inputs.ripple_Hz = e.ripple_Hz;
  if (e.open_leg >= 0) inputs.open[static_cast<std::size_t>(e.open_leg)] = true;
  return inputs;
}

plant::Drive start_plant(const Experiment& e) {
  plant::Drive drive(e.parameters);
  drive.start({e.start_omega_m_rad_s, e.start_theta_e_rad / e.parameters.pole_pairs()});
  if (e.speed_held) drive.hold_speed_rad_s({e.start_omega_m_rad_s, e.held_acceleration_rad_s2});
  drive.set_load_torque_Nm({e.load_Nm, e.load_Nm_per_s});
  drive.set_slope(e.road.slope);
  drive.set_wind_m_s(e.road.wind_m_s);
  drive.set_pedal_Nm(e.road.pedal_Nm);
  if (e.supply_V_per_s != 0.0)
    drive.set_supply_V({e.parameters.supply.voltage_V, e.supply_V_per_s});
  if (e.ripple_V != 0.0) drive.set_supply_ripple(e.ripple_V, e.ripple_Hz);
  if (e.open_leg >= 0) drive.set_phase_open(static_cast<plant::Leg>(e.open_leg), true);
  return drive;
}

Disagreement compare(const Experiment& e, CvodeTolerance tolerance) {
  return compare(e, e, tolerance);
}

Disagreement compare(const Experiment& e, const Experiment& of_reference,
                     CvodeTolerance tolerance) {
  plant::Drive drive = start_plant(e);

  CvodeRun reference(of_reference.parameters, start_state(of_reference), start_inputs(of_reference),
                     tolerance);

  const bool two_sides = e.parameters.shaft.coupling != plant::Coupling::rigid;
  Disagreement worst;
  std::size_t next = 0;
  std::size_t change = 0;
  for (const std::int64_t at : e.sample_ps) {
    const auto go = [&](std::int64_t to) {
      const std::size_t plant_next = replay(drive, e.edges, next, to);
      for (; next < plant_next; ++next) {
        reference.advance_to(e.edges[next].at_ps);
        reference.gate(static_cast<std::size_t>(e.edges[next].gate), e.edges[next].on);
      }
      reference.advance_to(to);
    };
    for (; change < e.changes.size() && e.changes[change].at_ps <= at; ++change) {
      go(e.changes[change].at_ps);
      make(e.changes[change], drive);
      make(of_reference.changes[change], reference);
    }
    go(at);

    const plant::DriveState& s = drive.state();
    const AbcState& r = reference.state();
    const double root3 = std::sqrt(3.0);
    // Phase currents from the plant's alpha-beta by a transform of our own.
    const double i[3] = {s.i_alpha_A, 0.5 * (-s.i_alpha_A + root3 * s.i_beta_A),
                         0.5 * (-s.i_alpha_A - root3 * s.i_beta_A)};
    const std::array<double, 3> line = reference.lines_A();
    const plant::Phases w = drive.snapshot().winding_A;
    const double winding[3] = {w.U, w.V, w.W};
    for (std::size_t k = 0; k < 3; ++k) {
      const double difference =
          std::max(std::abs(i[k] - line[k]), std::abs(winding[k] - r.winding_A[k]));
      if (!(difference <= worst.current_A)) {  // also when not a number
        worst.current_A = difference;
        worst.at_s = 1e-12 * static_cast<double>(at);
      }
      worst.peak_current_A =
          std::max({worst.peak_current_A, std::abs(line[k]), std::abs(r.winding_A[k])});
    }
    worst.bus_V = std::max(worst.bus_V, std::abs(s.v_cap_V - r.v_cap_V));
    worst.omega_m_rad_s =
        std::max({worst.omega_m_rad_s, std::abs(s.omega_m_rad_s - r.omega_m_rad_s),
                  two_sides ? std::abs(s.extra.omega_2_rad_s - r.omega_2_rad_s) : 0.0});
    worst.peak_omega_rad_s =
        std::max({worst.peak_omega_rad_s, std::abs(r.omega_m_rad_s), std::abs(r.omega_2_rad_s)});
    worst.theta_e_rad = std::max(
        worst.theta_e_rad, std::abs(std::remainder(s.theta_e_rad - r.theta_e_rad, plant::two_pi)));
  }
  worst.events = reference.events();
  return worst;
}

}  // namespace stillrotor::reference
