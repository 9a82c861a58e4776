#include "emulator/handover/sampler.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>
#include <utility>

namespace stillrotor {
namespace {

constexpr std::int64_t second_ps = 1'000'000'000'000;
constexpr std::size_t held_frames_most = 1024;

std::int64_t checked_rate(double rate_Hz) {
  if (rate_Hz >= 1.0 && rate_Hz <= 1e6 && rate_Hz == std::floor(rate_Hz))
    return static_cast<std::int64_t>(rate_Hz);
  throw std::invalid_argument("record rate is " + std::to_string(rate_Hz) +
                              " Hz; allowed: whole hertz from 1 to 1000000. Choose 20000 Hz where "
                              "nothing asks for another.");
}

double switching_J(const plant::DriveState& s) noexcept {
  return s.switching_J[0] + s.switching_J[1] + s.switching_J[2];
}

}  // namespace

Sampler::Sampler(const plant::Drive& drive, double rate_Hz, RunSink& sink,
                 std::function<void(Pins&, std::int64_t)> at_pins)
    : drive_(drive),
      sink_(sink),
      at_pins_(std::move(at_pins)),
      rate_Hz_(checked_rate(rate_Hz)),
      whole_ps_(second_ps / rate_Hz_),
      rest_ps_(second_ps % rate_Hz_) {
  held_frames_.reserve(held_frames_most);
  tally = &bin_.tally;
  open_bin(0);
}

// (point + 1) / rate to the nearest picosecond, in whole numbers that cannot overflow in 106 days.
std::int64_t Sampler::instant_ps(std::int64_t point) const noexcept {
  const std::int64_t whole = (point + 1) * whole_ps_, rest = (point + 1) * rest_ps_;
  return rest == 0 ? whole : whole + (rest + rate_Hz_ / 2) / rate_Hz_;
}

void Sampler::open_bin(std::int64_t point) noexcept {
  bin_.point = point;
  bin_.tally.clear(instant_ps(point));
  bin_.switching_J = switching_J(drive_.state());
  bin_.drawn_J = drive_.state().drawn_J;
}

void Sampler::enter_mode(std::uint32_t now, const plant::Continuous& begin) noexcept {
  plant::Tally& bin = bin_.tally;
  if (bin.continues(begin.i_alpha_A, begin.i_beta_A)) {
    bin.enter_link(drive_.probe_link(begin));
  } else {
    const plant::Probe all = drive_.probe(begin);
    bin.end = plant::ProbePairs(all);
    if (bin.mode == plant::Tally::no_mode) bin.include(bin.end);
    bin.enter_link({all.bus_V, all.supply_A, all.bridge_A});
  }
  bin.mode = now;
}

/// Emits all grid points in the segment, the first one at point_s; returns where the last one lay.
[[gnu::noinline]] double Sampler::cross_points(const plant::Segment& segment,
                                               double point_s) noexcept {
  double done_s = 0.0;
  const plant::StepHeat heat = drive_.heat(segment);
  const auto share = [&segment](double span_s) {
    return segment.length_s > 0.0 ? span_s / segment.length_s : 0.0;
  };
  do {
    const double tau_s = std::min(point_s, segment.length_s);
    const plant::Snapshot at = drive_.inside(segment, tau_s);
    const plant::ProbePairs here(
        plant::Probe{at.current_A, at.bus_V, at.supply_A, at.bridge_A, at.torque_Nm});
    bin_.tally.add(here, tau_s - done_s);
    bin_.tally.warm(heat, share(tau_s - done_s));
    done_s = tau_s;
    emit(at, *segment.analog_before, segment.length_s > 0.0 ? tau_s / segment.length_s : 1.0);
    open_bin(bin_.point + 1);
    bin_.tally.include(here);
    point_s = bin_.tally.left_s(segment.begin->time_ps, segment.begin->offset_s);
  } while (point_s <= segment.length_s + plant::Tally::same_instant_s);
  bin_.tally.warm(heat, share(segment.length_s - done_s));
  return done_s;
}

void Sampler::on_segment(const plant::Segment& segment) noexcept {
  const std::uint32_t now = plant::conduction_word(drive_.state());
  if (now != bin_.tally.mode) enter_mode(now, *segment.begin);
  const double point_s = bin_.tally.left_s(segment.begin->time_ps, segment.begin->offset_s);
  double done_s = 0.0;
  if (point_s <= segment.length_s + plant::Tally::same_instant_s)
    done_s = cross_points(segment, point_s);
  else
    bin_.tally.warm(drive_.heat(segment));
  if (done_s < segment.length_s)
    bin_.tally.add(plant::ProbePairs(drive_.probe(*segment.end)), segment.length_s - done_s);
  bin_.tally.end_at(segment.end->i_alpha_A, segment.end->i_beta_A);
}

// At a grid point between two steps' ends: what a sensor remembers, linear in between.
std::array<double, 3> Sampler::sense_V(const plant::AnalogState& then,
                                       double share) const noexcept {
  const plant::CurrentSensorParameters& sensor = drive_.parameters().phase_current;
  std::array<double, 3> volts{};
  if (sensor.kind == plant::CurrentSensing::none) return volts;
  const plant::AnalogState& now = drive_.state().analog;
  for (std::size_t k = 0; k < 3; ++k) {
    const double before = then.phase[k].output_A, after = now.phase[k].output_A;
    volts[k] = plant::current_sense_V(sensor, k, before + share * (after - before), bin_.next_ps(),
                                      drive_.parameters().seed, plant::noise_of_phase(k));
  }
  return volts;
}

double Sampler::sense_bus_V(double bus_V, const plant::AnalogState& then,
                            double share) const noexcept {
  const plant::VoltageSensorParameters& sensor = drive_.parameters().bus_voltage;
  const double before = then.bus_V, after = drive_.state().analog.bus_V;
  return voltage_sense_V(sensor, sensor.filtered() ? before + share * (after - before) : bus_V);
}

void Sampler::emit(const plant::Snapshot& at, const plant::AnalogState& before,
                   double into_step) noexcept {
  const plant::Tally& bin = bin_.tally;
  Frame& frame = holding_ ? held_frames_.emplace_back() : latest_;
  frame.at_ps = bin_.next_ps();
  const auto set = [&frame](Signal signal, double value) {
    frame.value[static_cast<std::size_t>(signal)] = static_cast<float>(value);
  };
  set(Signal::current_U, at.current_A.U);
  set(Signal::current_V, at.current_A.V);
  set(Signal::current_W, at.current_A.W);
  set(Signal::bus_voltage, at.bus_V);
  set(Signal::bus_current, at.supply_A);
  set(Signal::torque, at.torque_Nm);
  const bool has_length = bin.length_s > 0.0;
  set(Signal::bridge_current, has_length ? bin.bridge_As() / bin.length_s : at.bridge_A);
  set(Signal::torque_mean, has_length ? bin.torque_Nm_s() / bin.length_s : at.torque_Nm);
  set(Signal::speed, at.omega_m_rad_s);
  set(Signal::angle_e, at.theta_e_rad);
  set(Signal::current_d, at.current_dq_A.d);
  set(Signal::current_q, at.current_dq_A.q);
  set(Signal::terminal_U, at.terminal_V.U);
  set(Signal::terminal_V, at.terminal_V.V);
  set(Signal::terminal_W, at.terminal_V.W);
  set(Signal::back_emf_U, at.back_emf_V.U);
  set(Signal::back_emf_V, at.back_emf_V.V);
  set(Signal::back_emf_W, at.back_emf_V.W);
  set(Signal::load_torque, at.load_Nm);
  Pins pins{0.0, sense_V(before, into_step), sense_bus_V(at.bus_V, before, into_step)};
  at_pins_(pins, frame.at_ps);
  set(Signal::throttle, pins.throttle_V);
  set(Signal::sense_U, pins.phase_current_V[0]);
  set(Signal::sense_V, pins.phase_current_V[1]);
  set(Signal::sense_W, pins.phase_current_V[2]);
  set(Signal::sense_bus, pins.bus_V);
  const plant::DriveState& s = drive_.state();
  const auto kelvin = [&s](plant::TemperatureNode n) {
    return s.temperature_C[static_cast<std::size_t>(n)] + 273.15;
  };
  set(Signal::temperature_winding, kelvin(plant::TemperatureNode::winding));
  set(Signal::temperature_magnet, kelvin(plant::TemperatureNode::magnet));
  set(Signal::temperature_heatsink, kelvin(plant::TemperatureNode::heatsink));
  set(Signal::temperature_junction, kelvin(plant::TemperatureNode::junction));
  set(Signal::state_of_charge, s.supply.battery.charge);
  set(Signal::vehicle_speed, at.vehicle_m_s);
  set(Signal::load_speed, at.omega_2_rad_s);
  set(Signal::coupling_torque, at.through_Nm);
  const double share = has_length ? 1.0 / bin.length_s : 0.0;
  set(Signal::bus_current_mean, has_length ? bin.supply_As() * share : at.supply_A);
  const std::array<double, 3> phase_A2s = bin.phase_A2s();
  set(Signal::current_square_U, phase_A2s[0] * share);
  set(Signal::current_square_V, phase_A2s[1] * share);
  set(Signal::current_square_W, phase_A2s[2] * share);
  set(Signal::bridge_power, (bin.bridge_J() + s.drawn_J - bin_.drawn_J) * share);
  set(Signal::loss_winding, bin.heat.winding_J * share);
  set(Signal::loss_rotor, bin.heat.rotor_J * share);
  set(Signal::loss_iron, bin.heat.iron_J * share);
  set(Signal::loss_conduction, bin.heat.legs_J * share);
  set(Signal::loss_switching, (switching_J(s) - bin_.switching_J) * share);
  set(Signal::loss_friction, bin.heat.friction_J * share);
  set(Signal::machine_energy, at.machine_J);
  for (std::size_t k = 0; k < spread_count; ++k) {
    frame.least[k] = static_cast<float>(bin.least[k]);
    frame.greatest[k] = static_cast<float>(bin.greatest[k]);
  }
  if (!holding_) sink_.frame(latest_);
}

void Sampler::hold() noexcept {
  held_bin_ = bin_;
  holding_ = true;
}

void Sampler::keep() noexcept {
  holding_ = false;
  for (const Frame& frame : held_frames_) sink_.frame(frame);
  if (!held_frames_.empty()) latest_ = held_frames_.back();
  held_frames_.clear();
}

void Sampler::forget() noexcept {
  holding_ = false;
  held_frames_.clear();
  bin_ = held_bin_;
}

}  // namespace stillrotor
