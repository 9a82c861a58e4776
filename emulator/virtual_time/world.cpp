#include "emulator/virtual_time/world.hpp"

#include <algorithm>
#include <array>
#include <span>
#include <utility>

#include "emulator/virtual_time/lines_of_sensors.hpp"

namespace stillrotor {
namespace {

using io::Edge;
using io::Level;
using io::LineId;
using io::Time;

/// Room for what comes between two looks of the controller, so that a cycle on the wall clock never
/// allocates: 50 us of 20 million edges a second.
constexpr std::size_t edges_at_once = 1024;

/// No news of the plant's own that a change of gates brings at once: none that its alarms
/// (DriveState::alarm_ps) or the promise of a quiet time do not cover. What currents do to a
/// machine and the bus's voltage to a supply is told later, with the moment that the plant notes.
bool gates_bring_no_news(const plant::DriveParameters& p) noexcept {
  return p.gate_driver.trip_A <= 0.0;
}

/// Gates that come with an event, or may: all off, or a leg that shorts the bus. Bit k: gates k.
constexpr std::uint64_t telling_gates = [] {
  std::uint64_t telling = 1;
  for (unsigned gates = 0; gates < 64; ++gates)
    if ((gates & gates >> 1 & 0b010101U) != 0) telling |= std::uint64_t{1} << gates;
  return telling;
}();
constexpr bool tells(unsigned gates) noexcept { return (telling_gates >> gates & 1U) != 0; }

constexpr double zero_C_K = 273.15;

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
      conditions_(scenario.waiting),
      flickering_faults_(scenario),
      counts_distance_(asks_for_distance(scenario)),
      road_(scenario.road),
      throttle_V_(bench.controls.throttle_idle_V),
      supply_V_(charged(bench, scenario).supply.voltage_V),
      held_speed_rad_s_(scenario.start.speed_rad_s),
      ambient_K_(bench.drive.thermal.ambient_K),
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
      gates_may_wait_(gates_bring_no_news(bench.drive)),
      pole_pairs_(bench.drive.pole_pairs()) {
  for (int k = 0; k < plant::sensor_line_count; ++k) {
    const auto sensor = static_cast<plant::SensorLine>(k);
    wiring_.set_source(line_of(sensor), plant_.level(sensor));
  }
  // Nobody drives a wired enable yet: its pull-down holds it.
  if (wiring_.connected(io::line::driver_enable)) plant_.set_driver_enable(false);
  wiring_.set_source(io::line::key, scenario.start.key);
  if (scenario.start.key || bench.controller_stays_supplied)
    power_request_ = bench.controller_supply_V;
  arrivals_.reserve(edges_at_once);
  outbox_.reserve(edges_at_once);
}

void BenchWorld::begin() noexcept {
  if (wiring_.is_on(io::line::key)) {
    sink_.mark(MarkKind::action, 0, "key on", "at the start");
    conditions_.happened("key on", 0);
    if (bench_.key_closes_contactor) plant_.set_contactor(true);
  }
  do_due_actions();
}

void BenchWorld::attend(LiveControl& live, std::int64_t bound_ps) noexcept {
  const Action* driven = live.offered();
  if (driven == nullptr) return;
  const bool taken = driven->at_ps >= bound_ps && timeline_.put_in(*driven);
  wait_before_ps_ = std::min(wait_before_ps_, timeline_.next_ps());
  live.answer(taken ? LiveControl::Answer::taken : LiveControl::Answer::late);
}

// ---- what the controller may do

void BenchWorld::drive(const Edge& edge) noexcept {
  if (!leave_waiting(edge)) drive_now(edge);
}

std::size_t BenchWorld::drive_ahead(std::span<const Edge> edges) noexcept {
  if (has_mail()) edges = edges.first(1);
  std::size_t waiting = 0;
  while (waiting < edges.size() && leave_waiting(edges[waiting])) ++waiting;
  if (waiting > 0) return waiting;
  drive_now(edges.front());
  return 1;
}

/// What time alone tells is announced between two runs of the controller: so not where it has
/// something to tell, or the plant has moved on.
bool BenchWorld::pass(const Edge& edge) noexcept {
  if (has_mail() || gates_ == 0 || foresight_.now_ps() != announced_ps_) return false;
  return leave_waiting(edge);
}

void BenchWorld::drive_now(const Edge& edge) noexcept {
  if (!io::from_controller(edge.line) || !wiring_.connected(edge.line)) return;
  const bool on = wiring_.turns_on(edge.line, edge.level);
  if (on == is_driven(edge.line)) return;
  if (edge.at.count() < now_ps()) ++late_gate_edges_;
  const std::int64_t t_ps = std::max(edge.at.count(), now_ps());
  advance(t_ps);
  if (io::is_gate(edge.line))
    set_gate(edge.line, on, t_ps);
  else
    set_input(edge.line, on, t_ps);
}

/// Before this, changes of gates can be left until somebody looks at the plant: nothing of its own
/// comes before.
std::int64_t BenchWorld::wait_before_ps() const noexcept {
  if (!gates_may_wait_ || foresight_.ahead() || !arrivals_.empty() || wiring_.gates_faulty() ||
      tells(gates_))
    return 0;
  return std::min({quiet_ps_, timeline_.next_ps(), plant_.state().alarm_ps});
}

/// One that comes before anything else does and has itself nothing to tell. Returns whether.
bool BenchWorld::leave_waiting(const Edge& edge) noexcept {
  // As long as some wait nothing has happened but what attend() and end_at() see to.
  if (waiting_count_ == 0)
    wait_before_ps_ = wait_before_ps();
  else if (waiting_count_ == waiting_.size())
    return false;
  const std::int64_t t_ps = edge.at.count();
  if (t_ps >= wait_before_ps_ || t_ps < now_ps() || !io::is_gate(edge.line)) return false;
  const auto line = static_cast<std::uint16_t>(edge.line);
  const bool on = wiring_.turns_on(edge.line, edge.level);
  if (((unsigned{gates_} >> line ^ static_cast<unsigned>(on)) & 1U) == 0) return true;
  const unsigned gates = gates_ ^ 1U << line;
  if (tells(gates)) return false;
  waiting_[waiting_count_++] = {t_ps, static_cast<plant::Switch>(line), on};
  ++gate_edges_;
  gates_ = driver_inputs_ = static_cast<std::uint8_t>(gates);
  return true;
}

/// Through all that wait, and on to until_ps or to the first sensor edge behind them. Returns
/// whether there was one.
bool BenchWorld::play_waiting(std::int64_t until_ps) noexcept {
  std::span<const plant::GateChange> left(waiting_.data(), std::exchange(waiting_count_, 0));
  for (;;) {
    const plant::Drive::Played done = foresight_.play(left, until_ps);
    record_gates(left.first(done.played));
    left = left.subspan(done.played);
    absorb(done.stop);
    if (left.empty()) return done.stop.edge;
  }
}

/// Among the edges of sensors that have come on the way.
void BenchWorld::record_gates(std::span<const plant::GateChange> gates) noexcept {
  for (const plant::GateChange& gate : gates) {
    if (!arrivals_.empty() && !arrivals_.back().recorded)
      record_arrivals(gate.at_ps, Cause::scenario);
    sink_.edge(
        {gate.at_ps, static_cast<std::uint16_t>(gate.which), static_cast<std::uint8_t>(gate.on)});
  }
}

bool BenchWorld::is_driven(LineId line) const noexcept {
  return io::is_gate(line) ? (gates_ >> io::index(line) & 1U) != 0 : wiring_.is_on(line);
}

/// To where the controller looks at the plant.
void BenchWorld::go_to(std::int64_t t_ps) noexcept {
  if (foresight_.ahead() || t_ps > foresight_.now_ps())
    advance(t_ps);
  else
    catch_up();
}

std::span<const Edge> BenchWorld::heard(Time at) noexcept {
  const std::int64_t t_ps = std::max(at.count(), now_ps());
  outbox_.clear();
  if (t_ps < std::min(edgeless_ps_, timeline_.next_ps()) && arrivals_.empty()) return outbox_;
  go_to(t_ps);
  // Who asks once asks again soon: a count and its flags, a port for another of its pins.
  if (foresight_.ahead() || timeline_.next_ps() <= t_ps)
    edgeless_ps_ = 0;
  else
    edgeless_ps_ = plant_.quiet_until(t_ps + asked_again_within_ps, plant::Drive::Edges::all);
  if (arrivals_.empty()) return outbox_;
  record_arrivals(t_ps - 1, Cause::sensor);
  auto rest = arrivals_.begin();
  for (; rest != arrivals_.end() && rest->edge.at.count() < t_ps; ++rest)
    outbox_.push_back(rest->edge);
  arrivals_.erase(arrivals_.begin(), rest);
  return outbox_;
}

double BenchWorld::volts(io::ChannelId channel, Time at) noexcept {
  if (!bench_.harness.channels[io::index(channel)]) return 0.0;
  const std::int64_t t_ps = std::max(at.count(), now_ps());
  if (channel != io::channel::throttle)
    go_to(t_ps);
  else if (t_ps >= timeline_.next_ps())
    advance(t_ps);
  else
    catch_up();
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
  const std::int64_t quiet_ps = quiet_edges_ == plant::Drive::Edges::all ? quiet_ps_ : 0;
  const bool nothing_moves =
      t_ps < timeline_.next_ps() &&
      (!is_sensor(line) || t_ps < quiet_ps || (foresight_.ahead() && t_ps < foresight_.end_ps()));
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
  quiet_edges_ = promised_edges();
  quiet_ps_ = plant_.quiet_until(limit_ps, quiet_edges_);
}

/// Encoder edges need no promise where they wait at the pins that their wires end at.
plant::Drive::Edges BenchWorld::promised_edges() const noexcept {
  for (const LineId line : {io::line::encoder_A, io::line::encoder_B, io::line::encoder_Z})
    if ((waiting_lines_ >> io::index(wiring_.pin_of(line)) & 1U) == 0)
      return plant::Drive::Edges::all;
  return plant::Drive::Edges::but_encoder;
}

bool BenchWorld::edge_expected_by(std::int64_t t_ps) const noexcept {
  const plant::DriveState& s = plant_.state();
  const bool all = quiet_edges_ == plant::Drive::Edges::all;
  const double ahead = all ? s.edge_ahead_rad : s.hall_ahead_rad,
               behind = all ? s.edge_behind_rad : s.hall_behind_rad;
  const double turn =
      pole_pairs_ * s.omega_m_rad_s * (1e-12 * static_cast<double>(t_ps - s.time_ps) - s.offset_s);
  return s.theta_e_rad + turn >= ahead || s.theta_e_rad + turn < behind;
}

void BenchWorld::advance(std::int64_t t_ps) noexcept {
  // Edges at one instant come out one by one, so an edge is no reason to stop before the instant
  // has run dry.
  bool again = true;
  if (waiting_count_ > 0) {
    again = play_waiting(std::min(t_ps, timeline_.next_ps())) || now_ps() < t_ps;
  } else if (foresight_.ahead()) {
    if (t_ps >= foresight_.end_ps())
      absorb(foresight_.keep());
    else
      foresight_.forget();
  }
  while (again) {
    const plant::Drive::Stop stop = foresight_.advance(std::min(t_ps, timeline_.next_ps()));
    absorb(stop);
    again = stop.edge || now_ps() < t_ps;
  }
}

void BenchWorld::follow(std::int64_t t_ps) noexcept {
  if (t_ps >= timeline_.next_ps()) return advance(timeline_.next_ps());
  catch_up();
  if (foresight_.ahead()) foresight_.forget();
  for (bool again = true; again;) {
    const plant::Drive::Stop stop = foresight_.follow(t_ps);
    absorb(stop);
    again = stop.edge;
  }
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

void BenchWorld::heed(const plant::Drive::Stop& stop) noexcept {
  supply_news_.tell(plant_.state().supply, [this](auto... what) { event(what...); });
  if (now_ps() >= timeline_.next_ps()) do_due_actions();
  if (!stop.edge) return;
  if (stop.what.line == plant::SensorLine::driver_fault)
    event(now_ps(), stop.what.high ? "driver fault" : "driver fault cleared", "");
  ++sensor_edges_;
  set_line(line_of(stop.what.line), stop.what.high, Cause::sensor);
}

void BenchWorld::adopt_currents(const plant::Phases& measured_A, double none_below_A) noexcept {
  catch_up();
  if (foresight_.ahead()) foresight_.forget();
  plant_.adopt_currents(measured_A, none_below_A);
  sampler_.inputs_changed();
  promise_nothing();
}

}  // namespace stillrotor
