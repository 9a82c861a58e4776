#include "io/link/port/simulated_chip.hpp"

#include <algorithm>
#include <stdexcept>
#include <string>
#include <utility>

#include "io/link/port/chip_hooks.hpp"

namespace stillrotor::io {
namespace {

constexpr LineId line_id(std::size_t k) noexcept { return LineId{static_cast<std::uint16_t>(k)}; }
constexpr std::uint32_t bit(LineId id) noexcept { return 1U << index(id); }

}  // namespace

SimulatedChip::SimulatedChip(SimulatedController& controller, const ChipSettings& settings)
    : controller_(controller),
      settings_(settings),
      time_(settings.tick_Hz),
      offset_(settings.counter) {
  if (settings.tick_Hz == 0) throw std::invalid_argument("tick_Hz is 0; it counts in something");
  if (settings.channels.size() > CP_CHANNELS)
    throw std::invalid_argument(std::to_string(settings.channels.size()) + " channels; at most " +
                                std::to_string(CP_CHANNELS));
  for (std::size_t k = 0; k < line_count; ++k) {
    const bool high = (settings.pulled_up & bit(line_id(k))) != 0;
    pins_[k] = high ? Level::high : Level::low;
  }
  reset_codes();
  start(settings.session);
}

void SimulatedChip::start(std::uint16_t session) {
  const ChipHooks::Scope scope(*this);
  lf_hello hello{};
  hello.tick_Hz = settings_.tick_Hz;
  hello.resolution_ps = static_cast<std::uint32_t>(time_.begins(1).count());
  hello.jitter_ps = settings_.jitter_ps;
  hello.channels = static_cast<std::uint32_t>(settings_.channels.size());
  hello.lines = ChipHooks::all_lines;
  lf_chip_start(&chip_, &hello, session, settings_.tick_Hz / 1000);
}

void SimulatedChip::reset(std::uint16_t session) {
  offset_ = -static_cast<std::uint32_t>(ticks_);
  captured_.clear();
  in_.clear();
  start(session);
  // What it had captured is forgotten, how the gates stand is not: that is read from the pins.
  if (gates_ != 0) captured_.push_back({0, gates_});
  reset_codes();
}

void SimulatedChip::reset_codes() noexcept {
  for (const auto& c : settings_.channels)
    if (c.at) volts_[index(*c.at)] = c.reset_code * c.volts_per_code;
}

/// As a chip's main loop does, which finds something to do at these moments only.
std::uint64_t SimulatedChip::next_turn() const noexcept {
  if (!runs()) return ticks_ + std::max(settings_.tick_Hz / 10'000, 1U);
  const std::uint32_t due = chip_.core.plant.step_end + chip_.parameters.settle_ticks;
  return std::max(unwrapped(due), ticks_ + 1);
}

std::uint64_t SimulatedChip::unwrapped(std::uint32_t tick) const noexcept {
  const auto ahead = static_cast<std::int32_t>(tick - static_cast<std::uint32_t>(ticks_) - offset_);
  return ticks_ + static_cast<std::uint64_t>(std::max(ahead, 0));
}

void SimulatedChip::advance(Time until) {
  const ChipHooks::Scope scope(*this);
  while (now_ < until) {
    now_ = std::min(until, time_.begins(next_turn()));
    run_controller(now_);
    ticks_ = time_.ticks(now_);
    if (runs()) {
      cp_step(&chip_.core);
      cp_step(&chip_.core);  // the motion half runs ahead by two steps
    }
    serve();
  }
}

void SimulatedChip::serve() {
  do {
    lf_chip_serve(&chip_);
  } while (!in_.empty());
}

void SimulatedChip::hear(std::span<const std::uint8_t> bytes) {
  const ChipHooks::Scope scope(*this);
  in_.insert(in_.end(), bytes.begin(), bytes.end());
  serve();
}

std::vector<std::uint8_t> SimulatedChip::take_sent() {
  const ChipHooks::Scope scope(*this);
  std::vector<std::uint8_t> sent;
  sent.swap(out_);
  if (sent.size() >= most_waiting) serve();  // there is room again
  // A frame that is not through stays behind.
  const auto last = std::find(sent.rbegin(), sent.rend(), std::uint8_t{0});
  out_.insert(out_.begin(), last.base(), sent.end());
  sent.erase(last.base(), sent.end());
  return sent;
}

// ---- the controller's side ----

void SimulatedChip::run_controller(Time until) {
  for (;;) {
    if (supply_due_) power(*std::exchange(supply_due_, std::nullopt));
    const Time next = due_.empty() ? until : std::min(until, time_.begins(due_.front().tick));
    if (controller_runs() && reached_ < next)
      reached_ = std::max(reached_, controller_.run(next));
    else
      reached_ = std::max(reached_, next);
    while (!due_.empty() && time_.begins(due_.front().tick) <= reached_) {
      const Due due = due_.front();
      due_.erase(due_.begin());
      show(due.line, due.high ? Level::high : Level::low);
    }
    if (reached_ >= until) return;
  }
}

/// A pin of the controller changes, now as far as the controller has come.
void SimulatedChip::show(LineId line, Level level) {
  if (pins_[index(line)] == level) return;
  pins_[index(line)] = level;
  if (line == io::line::key && settings_.key_supply_V > 0.0)
    supply_due_ = (level == Level::high) != settings_.key_low_is_on ? settings_.key_supply_V : 0.0;
  if (controller_runs()) controller_.deliver({reached_, line, level});
}

void SimulatedChip::power(double volts) {
  const ChipHooks::Scope scope(*this);
  powered_ = volts > 0.0;
  reached_ = std::max(reached_, now_);
  controller_.power(volts, reached_, *this);
}

void SimulatedChip::put(LineId line, Level level) { show(line, level); }
void SimulatedChip::put(ChannelId channel, double volts) { volts_[index(channel)] = volts; }

Level SimulatedChip::level(LineId line, Time) noexcept { return pins_[index(line)]; }

/// The capture: all six gates and the counter at each change. Nobody drives it: off, by the
/// pull-downs at the gate drivers.
void SimulatedChip::drive(const Edge& edge) noexcept {
  if (!is_gate(edge.line)) return;
  const bool inverted = (settings_.inverted & bit(edge.line)) != 0;
  const bool on = edge.level != Level::released && (edge.level == Level::high) != inverted;
  const std::uint32_t gates = on ? gates_ | bit(edge.line) : gates_ & ~bit(edge.line);
  if (gates == gates_) return;
  gates_ = gates;
  if (captured_.size() >= most_captured) {
    ++lost_edges_;
    return;
  }
  captured_.push_back({static_cast<std::uint32_t>(time_.ticks(edge.at)) + offset_, gates});
}

}  // namespace stillrotor::io
