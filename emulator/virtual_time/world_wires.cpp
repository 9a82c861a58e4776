// The bench's wires: edges to the controller and from it, and the record of all of them.
#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "emulator/virtual_time/world.hpp"

namespace stillrotor {
namespace {

using io::Edge;
using io::Level;
using io::LineId;
using io::Time;

/// Six switches off for this long: the controller has let go. PWM and dead time never last so long.
constexpr std::int64_t rest_ps = 5'000'000'000;  // 5 ms

constexpr std::string_view leg_name(int leg) noexcept {
  return std::string_view("UVW").substr(static_cast<std::size_t>(leg), 1);
}

}  // namespace

void BenchWorld::set_line(LineId source, bool on, Cause cause) noexcept {
  if (wiring_.set_source(source, on)) arrive(wiring_.pin_of(source), cause);
}

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

void BenchWorld::set_gate(LineId line, bool on, std::int64_t t_ps) noexcept {
  if (!arrivals_.empty()) record_arrivals(t_ps, Cause::scenario);
  announce();
  const auto k = io::index(line);
  const auto bit = static_cast<std::uint8_t>(1U << k);
  gates_ = static_cast<std::uint8_t>(on ? gates_ | bit : gates_ & ~bit);
  sink_.edge({t_ps, static_cast<std::uint16_t>(line), static_cast<std::uint8_t>(on)});
  ++gate_edges_;

  if (gates_ == 0) gates_off_since_ps_ = t_ps;
  if (on && std::exchange(gates_rest_, false)) event(t_ps, "gates switching", "");
  set_switch(line);
}

void BenchWorld::set_switch(LineId gate) noexcept {
  const auto k = io::index(gate);
  const auto bit = static_cast<std::uint8_t>(1U << k);
  const bool on = wiring_.passes(gate, (gates_ & bit) != 0);
  driver_inputs_ = static_cast<std::uint8_t>(on ? driver_inputs_ | bit : driver_inputs_ & ~bit);
  plant_.set_switch(static_cast<plant::Switch>(k), on);
  // A leg that this shorts may trip the driver before what was promised.
  if (bench_.drive.gate_driver.trip_A > 0.0) {
    quiet_ps_ = plant_.quiet_until(quiet_ps_, quiet_edges_);
    edgeless_ps_ = 0;
  }
  const auto leg = static_cast<int>(k / 2);
  const unsigned pair = 3U << (2 * leg);
  if ((driver_inputs_ & pair) == pair && (shoot_through_told_ & 1U << leg) == 0) {
    shoot_through_told_ = static_cast<std::uint8_t>(shoot_through_told_ | 1U << leg);
    event(now_ps(), "shoot-through", leg_name(leg));
  }
}

// Sensor, driver or supply answer some time after, a lamp to nobody; what was promised before knew
// nothing of it.
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
  else if (line == io::line::angle_select)
    plant_.set_angle_selected(on);
  promise_nothing();
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
    event(s.left_map_ps, "currents outside the flux map", "");
  if (s.machine.magnet_left >= magnets_told_) return;
  magnets_told_ = s.machine.magnet_left - 0.05;
  std::array<char, 32> left{};
  const auto end = std::to_chars(left.data(), left.data() + 8, 100.0 * s.machine.magnet_left,
                                 std::chars_format::fixed, 1);
  constexpr std::string_view percent = " % left";
  event(s.magnets_fell_ps, "magnets lose flux",
        {left.data(), std::copy(percent.begin(), percent.end(), end.ptr)});
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
