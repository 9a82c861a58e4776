#include "tests/reference/cvode/model/drawn_shaft.hpp"

#include <cmath>

namespace stillrotor::reference {
namespace {

/// What the drawn drive weighs its load by.
struct Size {
  double inertia_kg_m2, inertia_2_kg_m2, torque_Nm, omega;
};

/// So small a lever that the weight moves the shaft about as much as the machine does.
void draw_vehicle(Experiment& e, const Size& of, Draw& draw) {
  auto& s = e.parameters.shaft;
  const double lever_m = 9.8 * drawn_s / of.omega * draw.logarithmic(0.3, 10.0);
  s.wheel_radius_m = draw.linear(0.05, 0.3);
  s.gear_ratio = s.wheel_radius_m / lever_m;
  s.cart_mass_kg = of.inertia_2_kg_m2 / (lever_m * lever_m);
  s.rolling_resistance = draw.linear(0.0, 0.1);
  s.slip_floor_m_s = of.omega * lever_m * draw.logarithmic(0.1, 1.0);
  if (draw.chance(0.4))
    e.road.slope = {draw.linear(-0.3, 0.3), draw.chance(0.5) ? draw.linear(-100.0, 100.0) : 0.0};
  if (draw.chance(0.4)) {
    const double speed_m_s = draw.logarithmic(1.0, 10.0) * of.omega * lever_m;
    s.drag_area_m2 = s.cart_mass_kg * draw.logarithmic(0.1, 10.0) / (speed_m_s * speed_m_s);
    e.road.wind_m_s = {draw.linear(-1.0, 1.0) * speed_m_s,
                       draw.linear(-1.0, 1.0) * speed_m_s / drawn_s};
  }
  if (draw.chance(0.3)) {
    s.pedal_ripple = draw.unit();
    s.pedal_gear = draw.logarithmic(0.1, 3.0) / s.gear_ratio;  // about a turn in the run
    e.road.pedal_Nm.value = 0.1 * of.torque_Nm * draw.unit() * s.pedal_gear * s.gear_ratio;
  }
}

void draw_coupling(Experiment& e, const Size& of, Draw& draw) {
  auto& s = e.parameters.shaft;
  const int sort = draw.whole(0, 7);
  const double J = of.inertia_kg_m2, J_2 = of.inertia_2_kg_m2;
  if (sort == 1 || sort == 2 || sort == 4) {
    s.gear_ratio = draw.logarithmic(0.5, 10.0);
    s.load_inertia_kg_m2 = J_2 * s.gear_ratio * s.gear_ratio;
    if (sort != 2) s.gear_efficiency = draw.linear(0.6, 1.0);
  }
  if (sort == 2) {
    s.coupling = plant::Coupling::elastic;
    const double w = plant::two_pi * draw.logarithmic(50.0, 3e3), joint = J * J_2 / (J + J_2);
    s.stiffness_Nm_per_rad = w * w * joint;
    s.torsion_damping_Nm_s_per_rad = draw.chance(0.5) ? draw.linear(0.0, 1.0) * w * joint : 0.0;
  }
  if (sort == 3) s.coupling = plant::Coupling::slipping;
  if (sort == 4 || sort == 5) {
    s.coupling = plant::Coupling::freewheel;
    using enum plant::FreewheelFault;
    for (int n = draw.chance(0.5) ? draw.whole(1, 3) : 0; n > 0; --n) {
      static constexpr plant::FreewheelFault fault[3] = {none, slips, locked};
      e.changes.push_back({.at_ps = at_some_time(draw, 0.0, 1.0),
                           .kind = Change::Kind::freewheel,
                           .fault = fault[draw.whole(0, 2)]});
    }
  }
  if (sort == 3 || sort == 5 || sort == 6) draw_vehicle(e, of, draw);
}

/// Through rest and back, or from rest.
void draw_reversal(Experiment& e, Draw& draw) {
  if (!draw.chance(0.35)) return;
  if (e.speed_held) {
    e.held_acceleration_rad_s2 = -e.start_omega_m_rad_s * draw.linear(1.1, 4.0) / drawn_s;
    return;
  }
  e.start_omega_m_rad_s *= draw.chance(0.3) ? 0.0 : draw.linear(-0.3, 0.3);
  if (draw.chance(0.5)) e.parameters.shaft.coulomb_friction_Nm *= draw.logarithmic(0.01, 1.0);
}

}  // namespace

void draw_shaft(Experiment& e, Draw& draw) {
  auto& s = e.parameters.shaft;
  auto& m = e.parameters.machine;
  if (e.speed_held) return draw_reversal(e, draw);
  const double J = s.inertia_kg_m2, omega = std::abs(e.start_omega_m_rad_s);
  const double torque = J * omega / drawn_s;
  draw_coupling(e, {J, J * draw.logarithmic(0.2, 5.0), torque, omega}, draw);
  if (draw.chance(0.2)) e.load_Nm_per_s = 0.05 * draw.linear(-1.0, 1.0) * torque / drawn_s;
  if (draw.chance(0.1)) s.static_torque_Nm = 0.05 * torque * draw.unit();
  if (draw.chance(0.1)) {
    s.constant_power_W = 0.05 * torque * omega * draw.unit();
    s.power_floor_rad_s = omega * draw.logarithmic(0.1, 1.0);
  }
  if (draw.chance(0.2))
    m.cogging = {{m.pole_pairs * 6, 0.05 * torque * draw.unit(), draw.linear(0.0, 6.0)}};
  if (draw.chance(0.2) && m.connection == plant::Connection::star && m.equal_turns()) {
    const double share = draw.logarithmic(0.3, 3.0);  // of the speed
    m.iron_loss = {0.05 * torque * omega * share, share * omega * m.pole_pairs / plant::two_pi,
                   draw.unit()};
  }
  draw_reversal(e, draw);
}

}  // namespace stillrotor::reference
