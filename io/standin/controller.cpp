#include "io/standin/controller.hpp"

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>
#include <span>

namespace stillrotor::io::standin {
namespace {

constexpr Time millisecond{1'000'000'000};
constexpr Time bootstrap_time = 2 * millisecond;
constexpr Time longest_pre_charge = 5000 * millisecond;
constexpr Time closing_time = 100 * millisecond;  // usual contactors pull in within 10 to 60 ms
constexpr int settling_periods = 16, zero_readings = 64;
constexpr ChannelId phase_current[3] = {channel::phase_current_U, channel::phase_current_V,
                                        channel::phase_current_W};

}  // namespace

Controller::Controller(const StandinScaling& scaling, double pwm_frequency_Hz,
                       double dead_time_s) noexcept
    : scaling_(scaling),
      pwm_(pwm_frequency_Hz, dead_time_s),
      throttle_(scaling),
      supply_(scaling),
      periods_a_millisecond_(std::max(1, static_cast<int>(pwm_frequency_Hz / 1000.0 + 0.5))) {}

void Controller::power(double volts, Time at, World& world) {
  world_ = &world;
  now_ = std::max(now_, at);
  if (volts < 0.8 * scaling_.supply_V) {
    release_outputs();
    phase_ = Phase::unpowered;
    return;
  }
  if (phase_ != Phase::unpowered) return;
  for (std::uint16_t gate = 0; gate < gate_count; ++gate)
    world.drive({now_, LineId{gate}, Level::low});
  supply_.rest(Level::low);
  while (drive_supply_line()) {
  }
  for (std::uint16_t id = gate_count; id < line_count; ++id)
    levels_[id] = world.level(LineId{id}, now_) == Level::high;
  pwm_.reset(now_);
  next_period_ = now_;
  periods_to_slow_ = 0;
  throttle_ = Throttle(scaling_);
  direction_ = 1;
  reaction_due_ = false;
  zero_readings_ = -settling_periods;
  zero_sum_V_ = {};
  offset_V_.fill(scaling_.current_offset_V);
  phase_ = Phase::zeroing;
  awake();
}

void Controller::release_outputs() noexcept {
  for (std::uint16_t gate = 0; gate < gate_count; ++gate)
    world_->drive({now_, LineId{gate}, Level::released});
  supply_.rest(Level::released);
  while (drive_supply_line()) {
  }
  pwm_.reset(now_);
}

bool Controller::drive_supply_line() noexcept {
  const auto edge = supply_.due(now_);
  if (edge) world_->drive(*edge);
  return edge.has_value();
}

Time Controller::run(Time horizon) noexcept {
  for (;;) {
    if (phase_ == Phase::unpowered) return now_ = std::max(now_, horizon);
    if (reaction_due_) {
      reaction_due_ = false;
      key_moved();
      if (phase_ == Phase::running) react();
      pwm_.plan(now_);
    }
    if (supply_.fitted() && drive_supply_line()) return now_;
    if (pwm_.next() != nullptr) {
      const std::span<const Edge> edges = pwm_.until(horizon);
      if (edges.empty()) break;
      const std::size_t taken = world_->drive_ahead(edges);
      now_ = edges[taken - 1].at;
      pwm_.taken(taken);
      if (taken > 1) continue;
      return now_;
    }
    if (next_period_ > horizon) break;
    now_ = next_period_;
    pwm_.begin_period(now_);
    period_begins();
    pwm_.plan(now_);
    next_period_ = pwm_.period_end();
  }
  return now_ = std::max(now_, horizon);
}

void Controller::deliver(const Edge& edge) noexcept {
  if (phase_ == Phase::unpowered || is_gate(edge.line)) return;
  levels_[index(edge.line)] = edge.level == Level::high;
  if (edge.line == line::key || edge.line == line::brake)
    reaction_due_ = true;
  else if (edge.line != line::reverse && edge.line != line::speed_limit)
    sensor_edge(edge);
}

void Controller::period_begins() noexcept {
  if (--periods_to_slow_ <= 0) {
    periods_to_slow_ = periods_a_millisecond_;
    read_slow_inputs();
  }
  if (supply_.has_chopper()) supply_.watch(bus_V());
  switch (phase_) {
    case Phase::zeroing:
      measure_zero_current();
      break;
    case Phase::bootstrap:
      if (now_ >= phase_ends_) enter(Phase::running);
      break;
    case Phase::running:
      control();
      break;
    default:
      break;
  }
}

/// Once a millisecond: the throttle, and the switches as a plain level, so that a bounce that
/// delivered no edge cannot leave a wrong picture for long.
void Controller::read_slow_inputs() noexcept {
  for (const LineId id : {line::key, line::brake, line::reverse, line::speed_limit}) {
    const bool high = world_->level(id, now_) == Level::high;
    if (levels_[index(id)] == high) continue;
    levels_[index(id)] = high;
    reaction_due_ = true;
  }
  throttle_.read(volts(channel::throttle));
  if (phase_ == Phase::zeroing) return;
  key_moved();
  if (phase_ == Phase::pre_charge || phase_ == Phase::closing) charge_link();
  if (phase_ == Phase::wait_for_rest || phase_ == Phase::bootstrap || phase_ == Phase::running) {
    if (throttle_.broken())
      return stop("throttle reads %.2f V, outside %.2f to %.2f V: wire broken or shorted",
                  throttle_.volts(), scaling_.throttle_low_fault_V, scaling_.throttle_high_fault_V);
    if (near_standstill()) direction_ = line_high(line::reverse) ? -1 : 1;
  }
  if (phase_ == Phase::wait_for_rest && throttle_.at_rest()) enter(Phase::bootstrap);
}

void Controller::key_moved() noexcept {
  if (phase_ == Phase::zeroing) return;
  const bool key = line_high(line::key);
  if (key && phase_ == Phase::wait_for_key) {
    if (supply_.has_contactor())
      enter(Phase::pre_charge);
    else
      wait_for_rest();
  }
  if (!key && phase_ != Phase::wait_for_key) enter(Phase::wait_for_key);
}

void Controller::charge_link() noexcept {
  if (phase_ == Phase::closing) {
    if (now_ >= phase_ends_) wait_for_rest();
    return;
  }
  const double bus = bus_V();
  if (pre_charge_.done(now_, bus))
    enter(Phase::closing);
  else if (now_ >= phase_ends_)
    stop("bus reads %.1f V after %.0f s of pre-charge and does not settle", bus,
         1e-12 * static_cast<double>(longest_pre_charge.count()));
}

void Controller::wait_for_rest() noexcept {
  enter(Phase::wait_for_rest);
  if (!throttle_.at_rest() && !throttle_.broken())
    say("throttle open at key-on (%.2f V): waiting until it returns to rest", throttle_.volts());
}

void Controller::enter(Phase phase) noexcept {
  phase_ = phase;
  for (int leg = 0; leg < 3; ++leg) pwm_.set_duty(leg, 0.0);
  switch (phase) {
    case Phase::pre_charge:
      pre_charge_.begin(now_);
      phase_ends_ = now_ + longest_pre_charge;
      break;
    case Phase::closing:
      supply_.close_contactor(true);
      phase_ends_ = now_ + closing_time;
      break;
    case Phase::bootstrap:
      all_legs(LegMode::low);
      phase_ends_ = now_ + bootstrap_time;
      break;
    case Phase::running:
      all_legs(LegMode::off);
      begin();
      break;
    case Phase::wait_for_key:
      supply_.close_contactor(false);
      [[fallthrough]];
    default:
      all_legs(LegMode::off);
  }
}

void Controller::measure_zero_current() noexcept {
  if (++zero_readings_ > 0)
    for (int leg = 0; leg < 3; ++leg) zero_sum_V_[leg] += volts(phase_current[leg]);
  if (zero_readings_ < zero_readings) return;
  has_current_sense_ = true;
  for (int leg = 0; leg < 3; ++leg) {
    const double mean = zero_sum_V_[leg] / zero_readings;
    if (std::abs(mean - scaling_.current_offset_V) < 0.1 * scaling_.supply_V) {
      offset_V_[leg] = mean;
    } else if (has_current_sense_) {
      has_current_sense_ = false;
      say("phase current %c reads %.3f V at rest, expected %.3f V: current sense not trusted",
          "UVW"[leg], mean, scaling_.current_offset_V);
    }
  }
  phase_ = Phase::wait_for_key;
}

double Controller::volts(ChannelId id) noexcept { return world_->volts(id, now_); }

double Controller::bus_V() noexcept { return volts(channel::bus_voltage) / scaling_.bus_ratio; }

double Controller::phase_current_A(int leg) noexcept {
  return (volts(phase_current[leg]) - offset_V_[leg]) / scaling_.current_gain_V_per_A;
}

void Controller::all_legs(LegMode mode) noexcept {
  for (int leg = 0; leg < 3; ++leg) pwm_.set_mode(leg, mode, now_);
}

void Controller::say(const char* format, ...) noexcept {
  char text[200];
  std::va_list args;
  va_start(args, format);
  const int length = std::vsnprintf(text, sizeof text - 1, format, args);
  va_end(args);
  if (length <= 0) return;
  const std::size_t size = std::min(static_cast<std::size_t>(length), sizeof text - 2);
  text[size] = '\n';
  world_->text(now_, {text, size + 1});
}

void Controller::stop(const char* format, ...) noexcept {
  if (phase_ == Phase::stopped) return;
  enter(Phase::stopped);
  char reason[160];
  std::va_list args;
  va_start(args, format);
  std::vsnprintf(reason, sizeof reason, format, args);
  va_end(args);
  say("stopped: %s", reason);
}

}  // namespace stillrotor::io::standin
