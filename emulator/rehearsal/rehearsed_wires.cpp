#include "emulator/rehearsal/rehearsed_wires.hpp"

#include <algorithm>
#include <cmath>
#include <exception>
#include <utility>

namespace stillrotor {
namespace {

constexpr io::LineId line_id(std::size_t k) noexcept {
  return io::LineId{static_cast<std::uint16_t>(k)};
}
std::int64_t ps(double s) { return std::llround(s * 1e12); }

}  // namespace

RehearsedWires::RehearsedWires(io::SimulatedController& controller, double supply_V,
                               const Harness& harness, const RehearsedRoute& route,
                               std::uint64_t seed)
    : controller_(controller),
      supply_V_(supply_V),
      wiring_(harness),
      route_(route),
      write_ps_(ps(route.lines.write_s)),
      frame_ps_(ps(route.volts.delay_s)),
      in_(route, seed),
      frames_(1) {}

void RehearsedWires::read(io::EdgeBatch& batch) noexcept {
  for (; !levels_.empty() && levels_.front().at_ps <= now_ps_; levels_.pop_front()) {
    run_to(levels_.front().at_ps);
    show(levels_.front());
  }
  run_to(now_ps_);
  in_.hand_over(now_ps_, batch);
}

void RehearsedWires::run_to(std::int64_t horizon_ps) noexcept {
  while (alive_ && reached_ps_ < horizon_ps) {
    const std::int64_t before_ps = reached_ps_;
    reached_ps_ = std::max(reached_ps_, controller_.run(io::Time(horizon_ps)).count());
    standstill_.note(reached_ps_ > before_ps);
    if (const io::Health health = controller_.health(); health != io::Health::running)
      stop(health, std::string(controller_.diagnosis()));
    else if (standstill_.lasts())
      stop(io::Health::hung, standstill_.why());
  }
  reached_ps_ = std::max(reached_ps_, horizon_ps);
}

/// The lines change, and the controller sees it.
void RehearsedWires::show(const Levels& next) noexcept {
  const std::uint32_t changed =
      ((shown_.high ^ next.high) & ~next.released) | (shown_.released ^ next.released);
  const bool switched = shown_.powered != next.powered;
  shown_ = next;
  if (switched) switch_supply(next.powered);
  for (std::size_t k = 0; k < io::line_count; ++k)
    if (alive_ && next.at_ps > powered_ps_ && (changed >> k & 1U) != 0 &&
        !io::from_controller(line_id(k)))
      controller_.deliver({io::Time(next.at_ps), line_id(k), level(line_id(k), {})});
}

void RehearsedWires::switch_supply(bool on) noexcept {
  standstill_.forget();
  powered_ps_ = reached_ps_;
  try {
    controller_.power(on ? supply_V_ : 0.0, io::Time(reached_ps_), *this);
    alive_ = on && controller_.health() == io::Health::running;
  } catch (const std::exception& error) {
    stop(io::Health::crashed, error.what());
  }
  if (!alive_) let_go();
}

void RehearsedWires::stop(io::Health health, std::string why) noexcept {
  alive_ = false;
  let_go();
  if (health_ != io::Health::running) return;
  health_ = health;
  diagnosis_ = std::move(why);
}

void RehearsedWires::let_go() noexcept {
  for (std::size_t k = 0; k < io::line_count; ++k)
    drive({io::Time(reached_ps_), line_id(k), io::Level::released});
}

void RehearsedWires::drive(const io::Edge& edge) noexcept {
  if (!io::from_controller(edge.line) || !wiring_.connected(edge.line)) return;
  const std::uint32_t bit = 1U << io::index(edge.line);
  const bool on = wiring_.turns_on(edge.line, edge.level);
  if (on == ((on_ & bit) != 0)) return;
  on_ ^= bit;
  in_.happens({edge.at, edge.line, on ? io::Level::high : io::Level::low});
}

double RehearsedWires::volts(io::ChannelId channel, io::Time at) noexcept {
  while (frames_.size() > 1 && frames_[1].at_ps <= at.count()) frames_.pop_front();
  return frames_.front().volts[io::index(channel)];
}

io::Level RehearsedWires::level(io::LineId line, io::Time) noexcept {
  const std::uint32_t bit = 1U << io::index(line);
  if ((shown_.released & bit) != 0) return io::Level::released;
  return (shown_.high & bit) != 0 ? io::Level::high : io::Level::low;
}

bool RehearsedWires::write(const io::WireOutputs& outputs) noexcept {
  levels_.push_back({now_ps_ + write_ps_, outputs.high, outputs.released, outputs.powered});
  send(outputs.volts);
  return true;
}

void RehearsedWires::send(const std::array<double, io::channel_count>& volts) noexcept {
  while (frames_.size() > 1 && frames_[1].at_ps <= now_ps_) frames_.pop_front();
  Frame frame{now_ps_ + frame_ps_, volts};
  const double step_V = route_.volts.resolution_V;
  if (step_V > 0.0)
    for (double& v : frame.volts) v = step_V * std::round(v / step_V);
  ++frames_sent_;
  if (frames_.size() == 1) {
    frames_.push_back(frame);
    return;
  }
  ++late_frames_;
  frame.at_ps = frames_[1].at_ps + frame_ps_;
  if (frames_.size() == 3) frames_.pop_back();
  frames_.push_back(frame);
}

io::WireCounts RehearsedWires::counts() const noexcept {
  io::WireCounts counts = in_.counts();
  counts.transfers = frames_sent_;
  counts.late_transfers = late_frames_;
  return counts;
}

}  // namespace stillrotor
