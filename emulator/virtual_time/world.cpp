#include "emulator/virtual_time/world.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <span>
#include <utility>

#include "plant/sensors/noise.hpp"

namespace stillrotor {
namespace {

using io::Edge;
using io::Level;
using io::LineId;
using io::Time;

/// Six switches off for this long: the controller has let go. PWM and dead time never last so long.
constexpr std::int64_t rest_ps = 5'000'000'000;  // 5 ms

/// Room for what comes between two looks of the controller, so that a cycle on the wall clock never
/// allocates: 50 us of 20 million edges a second.
constexpr std::size_t edges_at_once = 1024;

/// No news of the plant's own that a change of gates brings at once: none that its alarms
/// (DriveState::alarm_ps) or the promise of a quiet time do not cover.
bool gates_bring_no_news(const plant::DriveParameters& p) noexcept {
  return p.supply.kind == plant::SupplyKind::battery && p.gate_driver.trip_A <= 0.0 &&
         p.machine.flux_map.empty() && !p.machine.demagnetisation.possible;
}

constexpr LineId line_of(plant::SensorLine sensor) noexcept {
  if (sensor == plant::SensorLine::absolute_angle) return io::line::angle_data;
  if (sensor == plant::SensorLine::driver_fault) return io::line::driver_fault;
  return LineId{
      static_cast<std::uint16_t>(io::index(io::line::hall_U) + static_cast<std::size_t>(sensor))};
}
constexpr bool is_sensor(LineId line) noexcept {
  return (line >= io::line::hall_U && line <= io::line::encoder_Z) ||
         line == io::line::angle_data || line == io::line::driver_fault;
}
/// Of Halls and encoder.
constexpr plant::SensorLine sensor_of(LineId line) noexcept {
  return static_cast<plant::SensorLine>(io::index(line) - io::index(io::line::hall_U));
}
/// The plant's channels stand in the connector's order, without the throttle.
constexpr plant::SensorChannel sensor_of(io::ChannelId channel) noexcept {
  return static_cast<plant::SensorChannel>(io::index(channel) -
                                           io::index(io::channel::phase_current_U));
}
static_assert(sensor_of(io::channel::bus_voltage) == plant::SensorChannel::bus_voltage);
static_assert(sensor_of(io::channel::dc_link_current) == plant::SensorChannel::dc_link_current);
static_assert(sensor_of(io::channel::phase_voltage_U) == plant::SensorChannel::phase_voltage_U);
static_assert(sensor_of(io::channel::angle_sin) == plant::SensorChannel::angle_sin);
static_assert(sensor_of(io::channel::temperature_bridge) ==
              plant::SensorChannel::temperature_bridge);
static_assert(sensor_of(io::channel::star_point) == plant::SensorChannel::star_point);

constexpr std::string_view leg_name(int leg) noexcept {
  return std::string_view("UVW").substr(static_cast<std::size_t>(leg), 1);
}

constexpr double zero_C_K = 273.15;
constexpr double condition_grid_s = static_cast<double>(condition_grid_ps) * 1e-12;

/// Temperatures that move are told to the plant so often.
constexpr std::int64_t temperature_tick_ps = 1'000'000'000;  // 1 ms

bool asks_for_distance(const Scenario& scenario) noexcept {
  if (scenario.road.any()) return true;
  return std::any_of(scenario.waiting.begin(), scenario.waiting.end(),
                     [](const auto& one) { return one.condition.what == Watched::distance; });
}

/// The bench's plant as this scenario starts it.
plant::DriveParameters charged(const Bench& bench, const Scenario& scenario) {
  plant::DriveParameters drive = bench.drive;
  drive.seed = scenario.seed;
  auto& battery = drive.supply.battery;
  if (scenario.start.charge) battery.charge = *scenario.start.charge;
  if (!battery.open_circuit_V.empty())
    drive.supply.voltage_V = plant::on_curve(battery.open_circuit_V, battery.charge);
  return drive;
}

plant::Drive started(const Bench& bench, const Scenario& scenario, const GivenMotion& motion) {
  plant::Drive drive(charged(bench, scenario));
  plant::StartState start;
  start.omega_m_rad_s =
      motion.speed.empty() ? scenario.start.speed_rad_s : motion.speed.front().speed_rad_s;
  start.theta_m_rad = motion.start_angle_rad.value_or(scenario.start.angle_rad);
  start.bus_V = scenario.start.bus_V.value_or(-1.0);
  drive.start(start);
  for (std::size_t k = 0; k < plant::temperature_node_count; ++k)
    if (const auto kelvin = scenario.start.temperature_K[k])
      drive.set_temperature_C(static_cast<plant::TemperatureNode>(k), *kelvin - zero_C_K);
  return drive;
}

}  // namespace

BenchWorld::BenchWorld(const Bench& bench, const Scenario& scenario, GivenMotion motion,
                       RunSink& sink)
    : bench_(bench),
      sink_(sink),
      wiring_(bench.harness),
      analog_(bench, scenario.seed),
      timeline_(scenario.timeline),
      moving_faults_(scenario),
      conditions_(scenario.waiting),
      present_faults_(scenario),
      flickering_faults_(scenario),
      counts_distance_(asks_for_distance(scenario)),
      road_(scenario.road),
      throttle_V_(bench.controls.throttle_idle_V),
      supply_V_(charged(bench, scenario).supply.voltage_V),
      held_speed_rad_s_(scenario.start.speed_rad_s),
      controller_supply_V_(bench.controller_supply_V),
      temperature_K_{RampedInput(zero_C_K), RampedInput(zero_C_K), RampedInput(zero_C_K),
                     RampedInput(zero_C_K)},
      pulse_(bench.controls.pulse),
      motion_(std::move(motion)),
      plant_(started(bench, scenario, motion_)),
      sampler_(plant_, bench.record_rate_Hz, sink_,
               [this](Sampler::Pins& pins, std::int64_t t_ps) noexcept { at_pins(pins, t_ps); }),
      foresight_(plant_, sampler_),
      supply_news_(bench.drive, plant_.state().supply),
      gates_may_wait_(gates_bring_no_news(bench.drive)) {
  for (int k = 0; k < plant::sensor_line_count; ++k) {
    const auto sensor = static_cast<plant::SensorLine>(k);
    wiring_.set_source(line_of(sensor), plant_.level(sensor));
  }
  // Nobody drives a wired enable yet: its pull-down holds it.
  if (wiring_.connected(io::line::driver_enable)) plant_.set_driver_enable(false);
  wiring_.set_source(io::line::key, scenario.start.key);
  if (scenario.start.key) power_request_ = bench.controller_supply_V;
  arrivals_.reserve(edges_at_once);
  outbox_.reserve(edges_at_once);
}

void BenchWorld::begin() noexcept {
  if (power_request_) {
    sink_.mark(MarkKind::action, 0, "key on", "at the start");
    conditions_.happened("key on", 0);
    if (bench_.key_closes_contactor) plant_.set_contactor(true);
  }
  do_due_actions();
}

// ---- what the controller may do

void BenchWorld::drive(const Edge& edge) noexcept {
  if (!io::from_controller(edge.line) || !wiring_.connected(edge.line)) return;
  const bool on = wiring_.turns_on(edge.line, edge.level);
  if (on == is_driven(edge.line)) return;
  if (edge.at.count() < now_ps()) ++late_gate_edges_;
  const std::int64_t t_ps = std::max(edge.at.count(), now_ps());
  const bool waits = io::is_gate(edge.line) && may_wait(t_ps);
  if (!waits) advance(t_ps);
  if (io::is_gate(edge.line))
    set_gate(edge.line, on, t_ps, waits);
  else
    set_input(edge.line, on, t_ps);
}

/// Whether a change of gates at t_ps can be left until somebody looks at the plant: nothing of its
/// own comes before.
bool BenchWorld::may_wait(std::int64_t t_ps) const noexcept {
  return gates_may_wait_ && waiting_count_ < waiting_.size() && t_ps < quiet_ps_ &&
         t_ps < timeline_.next_ps() && t_ps < plant_.state().alarm_ps && !foresight_.ahead();
}

void BenchWorld::play_waiting() noexcept {
  std::span<const plant::GateChange> left(waiting_.data(), std::exchange(waiting_count_, 0));
  while (!left.empty()) {
    const plant::Drive::Played done = foresight_.play(left);
    left = left.subspan(done.played);
    absorb(done.stop);
  }
}

bool BenchWorld::is_driven(LineId line) const noexcept {
  return io::is_gate(line) ? (gates_ >> io::index(line) & 1U) != 0 : wiring_.is_on(line);
}

double BenchWorld::volts(io::ChannelId channel, Time at) noexcept {
  if (!bench_.harness.channels[io::index(channel)]) return 0.0;
  const std::int64_t t_ps = std::max(at.count(), now_ps());
  catch_up();
  if (channel == io::channel::throttle) {
    if (t_ps >= timeline_.next_ps()) advance(t_ps);
    return pin_V(channel, t_ps);
  }
  if (foresight_.ahead() || t_ps > now_ps()) advance(t_ps);
  return pin_V(channel, t_ps);
}

/// As the plant stands. Of the throttle and what drifts: then.
double BenchWorld::pin_V(io::ChannelId channel, std::int64_t t_ps) const noexcept {
  return analog_.volts(channel, t_ps, [&](io::ChannelId source) {
    return source == io::channel::throttle ? throttle_V_.at(t_ps)
                                           : plant_.sense_V(sensor_of(source));
  });
}

/// As the plant stands, which may be ahead of the present.
double BenchWorld::present_V(io::ChannelId channel) const noexcept {
  if (!bench_.harness.channels[io::index(channel)]) return 0.0;
  return pin_V(channel, plant_.state().time_ps);
}

std::optional<Time> BenchWorld::crossing(const io::Comparison& comparison, bool was_true, Time from,
                                         Time to) noexcept {
  const std::int64_t from_ps = std::max(from.count(), now_ps());
  catch_up();
  if (from_ps >= timeline_.next_ps()) advance(from_ps);
  const auto changed = [&] {
    return comparison.holds(present_V(comparison.plus), present_V(comparison.minus), was_true) !=
           was_true;
  };
  const auto at_ps = foresight_.first(from_ps, to.count(), changed);
  if (!at_ps) return std::nullopt;
  return Time(*at_ps);
}

Level BenchWorld::level(LineId line, Time at) noexcept {
  const std::int64_t t_ps = std::max(at.count(), now_ps());
  const bool nothing_moves =
      t_ps < timeline_.next_ps() &&
      (!is_sensor(line) || t_ps < quiet_ps_ || (foresight_.ahead() && t_ps < foresight_.end_ps()));
  if (!nothing_moves) advance(t_ps);
  return wiring_.level(line);
}

void BenchWorld::predict(double lead_s, Pins& pins) noexcept {
  constexpr plant::SensorLine lines[] = {
      plant::SensorLine::hall_U,    plant::SensorLine::hall_V,    plant::SensorLine::hall_W,
      plant::SensorLine::encoder_A, plant::SensorLine::encoder_B, plant::SensorLine::encoder_Z};
  constexpr io::ChannelId channels[] = {io::channel::angle_sin, io::channel::angle_cos,
                                        io::channel::phase_voltage_U, io::channel::phase_voltage_V,
                                        io::channel::phase_voltage_W};
  catch_up();
  const plant::DriveState present = plant_.state();
  plant_.turn_ahead(lead_s);
  for (const plant::SensorLine sensor : lines) {
    const LineId line = line_of(sensor);
    pins.levels[io::index(line)] =
        wiring_.level(line, plant_.level(sensor_of(wiring_.source_of(line))));
  }
  for (const io::ChannelId channel : channels)
    if (bench_.harness.channels[io::index(channel)])
      pins.volts[io::index(channel)] = pin_V(channel, now_ps());
  plant_.restore(present);
}

bool BenchWorld::foretell_driver(std::int64_t t_ps, Pins& pins) const noexcept {
  RampedInput throttle_V = throttle_V_;
  bool key = wiring_.is_on(io::line::key), brake = wiring_.is_on(io::line::brake),
       reverse = wiring_.is_on(io::line::reverse);
  for (const Action& action : timeline_.coming()) {
    if (action.at_ps > t_ps) break;
    if (action.kind == ActionKind::throttle) throttle_V.act(action.at_ps, action);
    if (action.kind == ActionKind::key) key = action.value != 0.0;
    if (action.kind == ActionKind::brake) brake = action.value != 0.0;
    if (action.kind == ActionKind::reverse) reverse = action.value != 0.0;
  }
  const auto show = [&](LineId line, bool on) {
    pins.levels[io::index(line)] = wiring_.level(line, on);
  };
  show(io::line::key, key);
  show(io::line::brake, brake);
  show(io::line::reverse, reverse);
  if (bench_.harness.channels[io::index(io::channel::throttle)])
    pins.volts[io::index(io::channel::throttle)] = analog_.volts(
        io::channel::throttle, t_ps, [&](io::ChannelId) { return throttle_V.at(t_ps); });
  return key;
}

void BenchWorld::text(Time at, std::string_view said) noexcept {
  // A mark a line, without its end, as a UART's reader hands it over, however many came at once.
  while (!said.empty()) {
    const std::string_view line = said.substr(0, said.find_first_of("\r\n"));
    if (!line.empty()) sink_.mark(MarkKind::text, at.count(), "controller", line);
    said.remove_prefix(std::min(line.size() + 1, said.size()));
  }
}

// ---- moving on

void BenchWorld::find_quiet(std::int64_t limit_ps) noexcept {
  catch_up();
  quiet_ps_ = plant_.quiet_until(limit_ps);
}

void BenchWorld::advance(std::int64_t t_ps) noexcept {
  catch_up();
  if (foresight_.ahead()) {
    if (t_ps >= foresight_.end_ps())
      absorb(foresight_.keep());
    else
      foresight_.forget();
  }
  // Edges at one instant come out one by one, so an edge is no reason to stop before the instant
  // has run dry.
  for (bool again = true; again;) {
    const plant::Drive::Stop stop = foresight_.advance(std::min(t_ps, timeline_.next_ps()));
    absorb(stop);
    again = stop.edge || now_ps() < t_ps;
  }
}

void BenchWorld::follow(std::int64_t t_ps) noexcept {
  if (t_ps >= timeline_.next_ps()) return advance(timeline_.next_ps());
  catch_up();
  if (foresight_.ahead()) foresight_.forget();
  absorb(foresight_.follow(t_ps));
}

bool BenchWorld::keep_look() noexcept {
  if (!foresight_.ahead()) return false;
  const std::int64_t end_ps = foresight_.end_ps();
  if (foresight_.ends_on_an_edge())
    advance(end_ps);
  else
    follow(end_ps);
  return true;
}

void BenchWorld::absorb(const plant::Drive::Stop& stop) noexcept {
  supply_news_.tell(plant_.state().supply, [this](auto... what) { event(what...); });
  if (now_ps() >= timeline_.next_ps()) do_due_actions();
  if (!stop.edge) return;
  if (stop.what.line == plant::SensorLine::driver_fault)
    event(now_ps(), stop.what.high ? "driver fault" : "driver fault cleared", "");
  ++sensor_edges_;
  set_line(line_of(stop.what.line), stop.what.high, Cause::sensor);
}

// ---- the scenario

void BenchWorld::do_due_actions() noexcept {
  while (const Action* action = timeline_.take_due(now_ps())) act(*action);
  timeline_.woken();
  watch_conditions();
  follow_faults();
  timeline_.wake_at(conditions_.next_ps(now_ps()));
  follow_ramps();
  follow_given_speed();
  follow_command_pulse();
  sampler_.inputs_changed();
  quiet_ps_ = now_ps();  // what was promised before knew nothing of this
}

void BenchWorld::watch_conditions() noexcept {
  const std::int64_t now = now_ps();
  if (counts_distance_) {
    odometer_.pass(now, plant_.snapshot().vehicle_m_s);
    timeline_.wake_at(next_grid_ps(now));
  }
  conditions_.ask(
      now, plant_, odometer_.distance_m(), [this](const Action& action) { act(action); },
      [&](const WaitingAction& one) { event(now, condition_not_met, one.action.label); });
}

void BenchWorld::follow_ramps() noexcept {
  const std::int64_t now = now_ps();
  plant_.set_load_torque_Nm(load_torque_Nm_.ramp_at(now));
  const double ahead_m = counts_distance_ ? plant_.snapshot().vehicle_m_s * condition_grid_s : 0.0;
  const auto on_the_road = [&](const RoadLine& line) {
    const double here = line.at(odometer_.distance_m());
    return plant::Ramp{here, (line.at(odometer_.distance_m() + ahead_m) - here) / condition_grid_s};
  };
  plant_.set_slope(road_.slope.any() ? on_the_road(road_.slope) : slope_.ramp_at(now));
  plant_.set_supply_V(supply_V_.ramp_at(now));
  plant_.set_wind_m_s(road_.wind_m_s.any() ? on_the_road(road_.wind_m_s) : wind_m_s_.ramp_at(now));
  plant_.set_pedal_Nm(pedal_Nm_.ramp_at(now));
  if (bench_.drive.shaft.hold == plant::Hold::start_speed && motion_.speed.empty())
    plant_.hold_speed_rad_s(held_speed_rad_s_.ramp_at(now));
  for (const RampedInput* input :
       {&load_torque_Nm_, &slope_, &supply_V_, &wind_m_s_, &pedal_Nm_, &held_speed_rad_s_})
    timeline_.wake_at(input->next_change_ps(now));
  if (warmed_ != 0) follow_temperatures();
}

void BenchWorld::follow_temperatures() noexcept {
  const std::int64_t now = now_ps();
  for (std::size_t k = 0; k < temperature_K_.size(); ++k) {
    const auto bit = static_cast<std::uint8_t>(1U << k);
    if ((warmed_ & bit) == 0) continue;
    const RampedInput& asked = temperature_K_[k];
    plant_.set_temperature_C(static_cast<plant::TemperatureNode>(k), asked.at(now) - zero_C_K);
    const std::int64_t next_ps = asked.next_change_ps(now);
    if (next_ps == never_ps)
      warmed_ = static_cast<std::uint8_t>(warmed_ & ~bit);
    else
      timeline_.wake_at(std::min(next_ps, now + temperature_tick_ps));
  }
}

void BenchWorld::follow_given_speed() noexcept {
  const auto& steps = motion_.speed;
  for (; next_speed_ < steps.size() && steps[next_speed_].at_ps <= now_ps(); ++next_speed_)
    plant_.hold_speed_rad_s({steps[next_speed_].speed_rad_s, 0.0});
  if (next_speed_ < steps.size()) timeline_.wake_at(steps[next_speed_].at_ps);
}

void BenchWorld::follow_command_pulse() noexcept {
  const Controls& controls = bench_.controls;
  if (!controls.pulse.fitted || !wiring_.connected(io::line::command_pulse)) return;
  if (pulse_.next_ps() <= now_ps()) {
    pulse_.attend((throttle_V_.at(now_ps()) - controls.throttle_idle_V) /
                  (controls.throttle_full_V - controls.throttle_idle_V));
    set_line(io::line::command_pulse, pulse_.high());
  }
  timeline_.wake_at(pulse_.next_ps());
}

void BenchWorld::act(const Action& action) noexcept {
  const std::int64_t now = now_ps();
  const bool on = action.value != 0.0;
  if (action.kind == ActionKind::fault) return act_fault(action);
  sink_.mark(MarkKind::action, now, action.mark, action.label);
  conditions_.happened(action.mark, now);
  switch (action.kind) {
    case ActionKind::key:
      set_line(io::line::key, on);
      return close_key_contact(on);
    case ActionKind::brake:
      return set_line(io::line::brake, on);
    case ActionKind::reverse:
      return set_line(io::line::reverse, on);
    case ActionKind::throttle:
      return throttle_V_.act(now, action);
    case ActionKind::load_torque:
      return load_torque_Nm_.act(now, action);
    case ActionKind::slope:
      return slope_.act(now, action);
    case ActionKind::supply_voltage:
      return supply_V_.act(now, action);
    case ActionKind::supply:
      return plant_.set_supply_interrupted(!on);
    case ActionKind::wind:
      return wind_m_s_.act(now, action);
    case ActionKind::pedal_torque:
      return pedal_Nm_.act(now, action);
    case ActionKind::held_speed:
      return held_speed_rad_s_.act(now, action);
    case ActionKind::driver_supply:
      return plant_.set_driver_supply_V(action.value);
    case ActionKind::command_pulse:
      return pulse_.send(on);
    case ActionKind::temperature:
      if ((warmed_ >> action.body & 1U) == 0)
        temperature_K_[action.body].go(now, plant_.state().temperature_C[action.body] + zero_C_K,
                                       0);
      temperature_K_[action.body].act(now, action);
      warmed_ = static_cast<std::uint8_t>(warmed_ | 1U << action.body);
      return;
    case ActionKind::fault:
      return;  // above
  }
}

/// For the record.
void BenchWorld::at_pins(Sampler::Pins& pins, std::int64_t t_ps) const noexcept {
  pins.throttle_V = throttle_V_.at(t_ps);
  if (!analog_.faulty()) return;
  const Sampler::Pins sensed = pins;
  const auto pin_V = [&](io::ChannelId pin) {
    return analog_.volts(pin, t_ps, [&](io::ChannelId source) {
      if (source == io::channel::throttle) return sensed.throttle_V;
      if (source == io::channel::bus_voltage) return sensed.bus_V;
      return sensed.phase_current_V[io::index(source) - io::index(io::channel::phase_current_U)];
    });
  };
  pins.throttle_V = pin_V(io::channel::throttle);
  for (std::uint16_t k = 0; k < 3; ++k)
    pins.phase_current_V[k] = pin_V(
        io::ChannelId{static_cast<std::uint16_t>(io::index(io::channel::phase_current_U) + k)});
  pins.bus_V = pin_V(io::channel::bus_voltage);
}

void BenchWorld::close_key_contact(bool closed) noexcept {
  power_request_ = closed ? controller_supply_V_ : 0.0;
  if (bench_.key_closes_contactor) plant_.set_contactor(closed);
}

/// Where a fault reaches in.
class BenchWorld::Site final : public FaultSite {
 public:
  explicit Site(BenchWorld& world) noexcept : world_(world) {}
  std::int64_t now_ps() const noexcept override { return world_.now_ps(); }
  const Bench& bench() const noexcept override { return world_.bench_; }
  plant::Drive& plant() noexcept override { return world_.plant_; }
  LineFault line(LineId line) const noexcept override { return world_.wiring_.fault(line); }
  void set_line(LineId line, const LineFault& fault) noexcept override {
    world_.set_line_fault(line, fault);
  }
  ChannelFault channel(io::ChannelId channel) const noexcept override {
    return world_.analog_.fault(channel);
  }
  void set_channel(io::ChannelId channel, const ChannelFault& fault) noexcept override {
    world_.analog_.set_fault(channel, fault);
  }
  double pin_V(io::ChannelId channel) const noexcept override {
    return world_.pin_V(channel, now_ps());
  }
  bool key_on() const noexcept override { return world_.wiring_.is_on(io::line::key); }
  void set_key_contact(bool closed) noexcept override { world_.close_key_contact(closed); }
  void set_controller_supply_V(double volts) noexcept override {
    world_.controller_supply_V_ = volts;
    if (key_on()) world_.power_request_ = volts;
  }
  double share(LineId line, std::int64_t number) const noexcept override {
    const std::uint64_t seed = plant::mixed(world_.plant_.parameters().seed + io::index(line));
    return plant::unit_share(plant::noise_bits(seed, plant::NoiseOf::line_fault, number));
  }

 private:
  BenchWorld& world_;
};

void BenchWorld::act_fault(const Action& action) noexcept {
  const bool broken = !action.cleared;
  if (!present_faults_.change(action))
    return event(now_ps(), broken ? "fault present already" : "fault absent already", action.label);
  const bool gone = !broken && flickering_faults_.end(action);
  sink_.mark(broken ? MarkKind::fault : MarkKind::action, now_ps(), action.mark, action.which);
  if (!gone) switch_fault(action, broken);
  if (broken) flickering_faults_.begin(action, now_ps());
  conditions_.happened(action.mark, now_ps());
}

void BenchWorld::switch_fault(const Action& action, bool present) noexcept {
  Site site(*this);
  (present ? action.fault->begin : action.fault->end)(site, action.settings);
  if (present)
    moving_faults_.begin(action, now_ps());
  else
    moving_faults_.end(action);
}

void BenchWorld::follow_faults() noexcept {
  const std::int64_t now = now_ps();
  timeline_.wake_at(flickering_faults_.follow(
      now, [this](const Action& action, bool present) { switch_fault(action, present); },
      [&](const Action& action) {
        present_faults_.forget(action);
        sink_.mark(MarkKind::action, now, action.end_mark, action.which);
        conditions_.happened(action.end_mark, now);
      }));
  if (!moving_faults_.any()) return;
  Site site(*this);
  timeline_.wake_at(moving_faults_.follow(site));
}

void BenchWorld::set_line_fault(LineId line, const LineFault& fault) noexcept {
  const bool changes = wiring_.set_fault(line, fault);
  if (io::is_gate(line))
    set_switch(line);
  else if (changes && !io::from_controller(line))
    arrive(line, Cause::scenario);
}

void BenchWorld::set_line(LineId source, bool on, Cause cause) noexcept {
  if (wiring_.set_source(source, on)) arrive(wiring_.pin_of(source), cause);
}

// ---- edges to the controller, and the record of all edges

void BenchWorld::arrive(LineId line, Cause cause) noexcept {
  const Arrival arrival{{Time(now_ps()), line, wiring_.level(line)}, cause, false};
  const auto before = [](const Arrival& a, const Arrival& b) {
    if (a.edge.at != b.edge.at) return a.edge.at < b.edge.at;
    if (a.cause != b.cause) return a.cause < b.cause;
    return a.edge.line < b.edge.line;
  };
  arrivals_.insert(std::upper_bound(arrivals_.begin(), arrivals_.end(), arrival, before), arrival);
}

void BenchWorld::record_arrivals(std::int64_t up_to_ps, Cause up_to) noexcept {
  for (Arrival& arrival : arrivals_) {
    const std::int64_t at_ps = arrival.edge.at.count();
    if (at_ps > up_to_ps || (at_ps == up_to_ps && arrival.cause > up_to)) return;
    if (std::exchange(arrival.recorded, true)) continue;
    sink_.edge({at_ps, static_cast<std::uint16_t>(arrival.edge.line),
                static_cast<std::uint8_t>(arrival.edge.level == Level::high)});
  }
}

std::vector<Edge>& BenchWorld::take_arrivals() noexcept {
  outbox_.clear();
  record_arrivals(now_ps(), Cause::sensor);
  for (const Arrival& arrival : arrivals_) outbox_.push_back(arrival.edge);
  arrivals_.clear();
  return outbox_;
}

std::optional<double> BenchWorld::take_power_request() noexcept {
  return std::exchange(power_request_, std::nullopt);
}

void BenchWorld::set_gate(LineId line, bool on, std::int64_t t_ps, bool waits) noexcept {
  if (waits)
    waiting_[waiting_count_++] = {t_ps, static_cast<plant::Switch>(io::index(line)),
                                  wiring_.passes(line, on)};
  if (!arrivals_.empty()) record_arrivals(t_ps, Cause::scenario);
  announce();
  const auto k = io::index(line);
  const auto bit = static_cast<std::uint8_t>(1U << k);
  gates_ = static_cast<std::uint8_t>(on ? gates_ | bit : gates_ & ~bit);
  sink_.edge({t_ps, static_cast<std::uint16_t>(line), static_cast<std::uint8_t>(on)});
  ++gate_edges_;

  if (gates_ == 0) gates_off_since_ps_ = t_ps;
  if (on && std::exchange(gates_rest_, false)) event(t_ps, "gates switching", "");
  set_switch(line, waits);
}

void BenchWorld::set_switch(LineId gate, bool waits) noexcept {
  const auto k = io::index(gate);
  const auto bit = static_cast<std::uint8_t>(1U << k);
  const bool on = wiring_.passes(gate, (gates_ & bit) != 0);
  driver_inputs_ = static_cast<std::uint8_t>(on ? driver_inputs_ | bit : driver_inputs_ & ~bit);
  if (!waits) plant_.set_switch(static_cast<plant::Switch>(k), on);
  // A leg that this shorts may trip the driver before what was promised.
  if (bench_.drive.gate_driver.trip_A > 0.0) quiet_ps_ = plant_.quiet_until(quiet_ps_);
  const auto leg = static_cast<int>(k / 2);
  const unsigned pair = 3U << (2 * leg);
  if ((driver_inputs_ & pair) == pair && (shoot_through_told_ & 1U << leg) == 0) {
    shoot_through_told_ = static_cast<std::uint8_t>(shoot_through_told_ | 1U << leg);
    event(now_ps(), "shoot-through", leg_name(leg));
  }
}

// Sensor, driver or supply answer some time after; what was promised before knew nothing of it.
void BenchWorld::set_input(LineId line, bool on, std::int64_t t_ps) noexcept {
  if (!arrivals_.empty()) record_arrivals(t_ps, Cause::scenario);
  if (line == io::line::angle_clock)
    plant_.set_angle_clock(on);
  else if (line == io::line::driver_enable)
    plant_.set_driver_enable(on);
  else if (line == io::line::contactor)
    plant_.set_contactor(on);
  else if (line == io::line::brake_chopper)
    plant_.set_chopper(on);
  else
    plant_.set_angle_selected(on);
  quiet_ps_ = now_ps();
  if (wiring_.set_source(line, on))
    sink_.edge({t_ps, static_cast<std::uint16_t>(line),
                static_cast<std::uint8_t>(wiring_.reads_high(line))});
}

void BenchWorld::release_gates(std::int64_t t_ps) noexcept {
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    if (io::from_controller(LineId{k})) drive({Time(t_ps), LineId{k}, Level::released});
}

void BenchWorld::announce_rest() noexcept {
  if (now_ps() - gates_off_since_ps_ < rest_ps) return;
  gates_rest_ = true;
  event(gates_off_since_ps_, "all gates off", "");
}

/// At the first loss, and again for every twentieth of the flux.
void BenchWorld::announce_machine() noexcept {
  const plant::DriveState& s = plant_.state();
  if (s.outside_map_s > 0.0 && !std::exchange(map_told_, true))
    event(now_ps(), "currents outside the flux map", "");
  if (s.machine.magnet_left >= magnets_told_) return;
  magnets_told_ = s.machine.magnet_left - 0.05;
  std::array<char, 32> left{};
  const auto end = std::to_chars(left.data(), left.data() + 8, 100.0 * s.machine.magnet_left,
                                 std::chars_format::fixed, 1);
  constexpr std::string_view percent = " % left";
  event(now_ps(), "magnets lose flux",
        {left.data(), std::copy(percent.begin(), percent.end(), end.ptr)});
}

void BenchWorld::adopt_currents(const plant::Phases& measured_A, double none_below_A) noexcept {
  catch_up();
  if (foresight_.ahead()) foresight_.forget();
  plant_.adopt_currents(measured_A, none_below_A);
  sampler_.inputs_changed();
  quiet_ps_ = now_ps();
}

void BenchWorld::event(std::int64_t t_ps, std::string_view name, std::string_view detail) noexcept {
  sink_.mark(MarkKind::event, t_ps, name, detail);
}

std::array<std::uint8_t, io::line_bytes> BenchWorld::lines_high() const noexcept {
  std::array<std::uint8_t, io::line_bytes> bytes{};
  bytes[0] = gates_;
  for (std::size_t k = io::gate_count; k < io::line_count; ++k)
    if (wiring_.reads_high(LineId{static_cast<std::uint16_t>(k)}))
      bytes[k / 8] = static_cast<std::uint8_t>(bytes[k / 8] | 1U << k % 8);
  return bytes;
}

}  // namespace stillrotor
