// Heat of machine and power stage on its way into the bodies, and their temperatures on their way
// back into resistances, magnets and sensors.
// Gathered in each accepted step: currents are straight lines in a step, so the squares of equal
// windings and of the legs are exact for them; the iron's heat goes by its value in the middle,
// that of other machines by the trapezoid of its value at the step's ends. Given to the network
// once a tick.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

constexpr double zero_C_K = 273.15;

/// Mean of the square of a straight line.
double mean_square(double a, double b) noexcept { return (a * a + a * b + b * b) / 3.0; }

}  // namespace

void Drive::Impl::start_heat() noexcept {
  if (!warms) return;
  Warming& w = s.warming;
  w.bodies = heat_paths->at_rest();
  w.next_ps = heat_tick_ps;
  s.alarm_ps = std::min(s.alarm_ps, w.next_ps);
  const double ambient_K = par.thermal.ambient_K;
  s.machine = machine.at_temperatures(ambient_K, ambient_K, s.machine);
  for (double& t : s.temperature_C) t = ambient_K - zero_C_K;
}

void Drive::Impl::follow_heat(const Point& y, double h) noexcept {
  Warming& w = s.warming;
  const Phases i0 = phases({s.i_alpha_A, s.i_beta_A}), i1 = phases({y.i_alpha, y.i_beta});
  const double from[3] = {i0.U, i0.V, i0.W}, to[3] = {i1.U, i1.V, i1.W};
  if (Machine::plain(s.machine) || s.machine.model == MachineModel::saturated_magnet) {
    double squares = 0.0;
    for (int k = 0; k < 3; ++k) squares += mean_square(from[k], to[k]);
    w.heat.winding_J += h * s.machine.winding_ohm[0] * squares;
    if (machine.iron().any()) {
      const Dq a = park({s.i_alpha_A, s.i_beta_A}, s.cos_e, s.sin_e);
      const Dq b = park({y.i_alpha, y.i_beta}, y.cos_e, y.sin_e);
      w.heat.housing_J += h * machine.iron_W({0.5 * (a.d + b.d), 0.5 * (a.q + b.q)},
                                             0.5 * (s.omega_m_rad_s + y.omega), s.machine);
    }
  } else {
    const TerminalLaw a = machine.at(point(), s.machine), b = machine.at(y, s.machine);
    w.heat.winding_J += 0.5 * h * (a.heat_W[0] + b.heat_W[0]);
    w.heat.magnet_J += 0.5 * h * (a.heat_W[1] + b.heat_W[1]);
    w.heat.housing_J += 0.5 * h * (a.heat_W[2] + b.heat_W[2]);
  }
  for (std::size_t k = 0; k < 3; ++k) {
    const LegLaw& leg = law(s.leg[k]);
    const double mean_A = 0.5 * (from[k] + to[k]);
    if (is_grounded(s.leg[k])) [[unlikely]] {
      // Of law and short only the switch's own share, by the current through it.
      const bool high = s.leg[k] == Conduction::grounded_high;
      const double through_A = mean_A + (high ? leg_ground_A(k, y, y.v_cap) : 0.0);
      if (s.leg[k] != Conduction::grounded)
        w.heat.leg_J[k] += h * par.bridge.switch_on_resistance_ohm * through_A * through_A;
    } else {
      w.heat.leg_J[k] += h * (leg.r_ohm * mean_square(from[k], to[k]) - leg.e_V * mean_A);
    }
    if (shorts_the_bus(s.leg[k]))
      w.heat.leg_J[k] += h * 0.5 / par.bridge.switch_on_resistance_ohm * y.v_cap * y.v_cap;
  }
}

void Drive::Impl::ring_heat() noexcept {
  Warming& w = s.warming;
  if (w.next_ps > s.time_ps) return;
  w.next_ps += heat_tick_ps;
  for (std::size_t k = 0; k < 3; ++k) {
    w.heat.leg_J[k] += s.switching_J[k] - w.switching_before_J[k];
    w.switching_before_J[k] = s.switching_J[k];
  }
  heat_paths->advance(w.bodies, w.heat);
  w.heat = {};
  take_temperatures();
}

void Drive::Impl::take_temperatures() noexcept {
  const ThermalState& b = s.warming.bodies;
  const auto set = [this](TemperatureNode n, double kelvin) {
    s.temperature_C[static_cast<std::size_t>(n)] = kelvin - zero_C_K;
  };
  set(TemperatureNode::winding, b.at(HeatNode::winding));
  set(TemperatureNode::magnet, b.at(HeatNode::magnet));
  set(TemperatureNode::heatsink, b.at(HeatNode::heatsink));
  set(TemperatureNode::junction, std::max({b.junction_K(0), b.junction_K(1), b.junction_K(2)}));
  set_machine_temperatures(b.at(HeatNode::winding), b.at(HeatNode::magnet));
}

// Bodies of a network take what they are given and go on from there; the junctions follow the
// heatsink. Without one, sensors and machine simply stand at this temperature.
void Drive::set_temperature_C(TemperatureNode node, double temperature_C) noexcept {
  Impl& d = *impl_;
  const double kelvin = temperature_C + zero_C_K;
  if (d.warms && node != TemperatureNode::junction) {
    const HeatNode body = node == TemperatureNode::winding  ? HeatNode::winding
                          : node == TemperatureNode::magnet ? HeatNode::magnet
                                                            : HeatNode::heatsink;
    d.s.warming.bodies.node_K[static_cast<std::size_t>(body)] = kelvin;
    d.take_temperatures();
    return;
  }
  d.s.temperature_C[static_cast<std::size_t>(node)] = temperature_C;
  if (node == TemperatureNode::winding)
    d.set_machine_temperatures(kelvin, d.s.machine.magnet_K);
  else if (node == TemperatureNode::magnet)
    d.set_machine_temperatures(d.s.machine.winding_K, kelvin);
}

void Drive::set_ambient_K(double ambient_K) noexcept {
  impl_->s.warming.bodies.ambient_K = ambient_K;
}

}  // namespace stillrotor::plant
