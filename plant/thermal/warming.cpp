// Heat of machine and power stage on its way into the bodies, and their temperatures on their way
// back into resistances, magnets and sensors.
// Gathered in each accepted step (step_heat.cpp), given to the network once a tick.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

constexpr double zero_C_K = 273.15;

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

void Drive::Impl::follow_heat(const Point& begin, const Point& end, double h) noexcept {
  take_heat(step_heat(begin, end, h));
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
