#include "emulator/cycle/wired_bench.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <variant>

namespace stillrotor {
namespace {

/// The world keeps the edges of one advance in fixed room; 50 us of the fastest encoder fit.
constexpr std::int64_t slice_ps = 50'000'000;

constexpr io::LineId line_id(std::size_t k) noexcept {
  return io::LineId{static_cast<std::uint16_t>(k)};
}

}  // namespace

WiredBench::WiredBench(const Bench& bench, const Scenario& scenario,
                       io::WiredController& controller, RunSink& sink, GivenMotion motion)
    : bench_(bench),
      controller_(controller),
      world_(bench, scenario, std::move(motion), sink),
      gaps_(sink),
      volt_gaps_(sink),
      delay_(std::llround(bench.cycle.delay_s * 1e12)),
      unshown_ps_(std::llround(bench.cycle.period_s * 1e12) * bench.analog.stalled_after_stores),
      gate_path_(gate_treatment(bench)) {
  if (bench.cycle.gates.filtered) filtered_.emplace(bench);
  const auto* link = std::get_if<io::LinkConfig>(&bench.controller);
  if (io::FarPlant* far = controller.far_plant(); far != nullptr && link != nullptr)
    mirror_.emplace(bench, *link, *far, world_);
}

void WiredBench::begin() noexcept {
  world_.begin();
  if (const std::string& text = gate_path_.averaged_text(); !text.empty())
    world_.event(0, AveragedGates::mark, text);
  if (bench_.cycle.lead_s > 0.0)
    world_.event(0, "position predicted",
                 fmt::format("{:.4g} us ahead of the plant", 1e6 * bench_.cycle.lead_s));
}

void WiredBench::arm(std::int64_t armed_ns) {
  if (mirror_) mirror_->arm(armed_ns);
  controller_.arm(armed_ns);
}

void WiredBench::read() noexcept {
  if (mirror_) mirror_->read();
  std::move(batch_.edges.begin() + static_cast<std::ptrdiff_t>(done_),
            batch_.edges.begin() + static_cast<std::ptrdiff_t>(batch_.edge_count),
            batch_.edges.begin());
  batch_.edge_count -= done_;
  done_ = 0;
  batch_.gap_count = 0;
  const std::size_t waiting = batch_.edge_count;
  controller_.read(batch_);
  take_in(waiting);
  for (std::size_t k = 0; k < batch_.gap_count; ++k) {
    const io::Gap& gap = batch_.gaps[k];
    gaps_.note(gap.from.count(), gap.to.count(), "edges may be missing", io::name(gap.line));
  }
}

/// Edges of one read are in order; a wire with a slower path may still bring an older one later.
void WiredBench::take_in(std::size_t known) noexcept {
  auto& edges = batch_.edges;
  for (std::size_t k = std::max<std::size_t>(known, 1); k < batch_.edge_count; ++k)
    for (std::size_t j = k; j > 0 && edges[j].at < edges[j - 1].at; --j)
      std::swap(edges[j], edges[j - 1]);
}

void WiredBench::advance(std::int64_t until_ps) noexcept {
  const std::int64_t from_ps = world_.now_ps();
  read_averages(until_ps);
  clean(io::Time(until_ps) + gate_path_.hold());
  for (const io::Edge& edge : gate_path_.ready()) drive(edge, until_ps);
  advance_world(until_ps);
  judge_gates(from_ps);
  world_.announce();
  gaps_.pass(world_.now_ps());
  volt_gaps_.pass(world_.now_ps());
}

/// Gates that come in as averages, as they stand now: `delay` before the plant.
void WiredBench::read_averages(std::int64_t until_ps) noexcept {
  if (!filtered_) return;
  filtered_->take(controller_.gate_volts(), io::Time(until_ps) + delay_);
  if (!filtered_->fresh())
    gaps_.note(std::max<std::int64_t>(until_ps - filtered_->age().count(), 0), until_ps,
               "gate averages old", "");
}

void WiredBench::clean(io::Time known_to) noexcept {
  const std::size_t first = done_;
  for (; done_ < batch_.edge_count && batch_.edges[done_].at <= known_to; ++done_) {
    const io::Edge& edge = batch_.edges[done_];
    if (const io::Time at = gate_path_.happened(edge); at < gate_path_.known())
      gaps_.note(at.count(), gate_path_.known().count(), "edge came late", io::name(edge.line));
  }
  gate_path_.take({batch_.edges.data() + first, done_ - first}, known_to,
                  filtered_ ? &filtered_->shares() : nullptr);
}

/// What this turn's edges were not worth. Real overlaps hold: the plant shows what they do.
void WiredBench::judge_gates(std::int64_t from_ps) noexcept {
  for (const Overlap& overlap : gate_path_.overlaps())
    if (overlap.repaired)
      gaps_.note(overlap.at.count(), (overlap.at + overlap.length).count(), "overlap repaired", "");
  if (gate_path_.pwm().suspects() != suspects_) judge_pulses(from_ps);
  if (gate_path_.dropped() > dropped_) {
    dropped_ = gate_path_.dropped();
    gaps_.note(from_ps, world_.now_ps(), "averaged gates dropped", "");
  }
}

/// Of legs whose PWM is not known yet it asks again next time.
void WiredBench::judge_pulses(std::int64_t from_ps) noexcept {
  bool all_known = true;
  for (std::size_t k = 0; k < missing_.size(); ++k) {
    const LegPwm leg = gate_path_.pwm().leg(k);
    all_known &= leg.known;
    if (!leg.known || leg.missing <= missing_[k]) continue;
    const double periods = static_cast<double>(leg.missing - missing_[k] + 1);
    const auto back_ps = static_cast<std::int64_t>(periods * leg.period_s * 1e12);
    missing_[k] = leg.missing;
    gaps_.note(std::max<std::int64_t>(from_ps - back_ps, 0), world_.now_ps(), "PWM pulse missing",
               "");
  }
  if (all_known) suspects_ = gate_path_.pwm().suspects();
}

/// The world knows the harness and takes levels of a pin; on wires polarity is off already. Up to
/// the first moment at which a sensor may have an edge, gates wait there and the plant goes through
/// all of them at once, later: nobody looks at it before the turn's end.
void WiredBench::drive(const io::Edge& edge, std::int64_t until_ps) noexcept {
  if (mirror_ || edge.at.count() >= world_.quiet_ps()) {
    advance_world(edge.at.count());
    if (!mirror_) world_.find_quiet(until_ps);
  }
  io::Level pin = edge.level;
  if (pin != io::Level::released && !bench_.harness.lines[io::index(edge.line)].active_high)
    pin = pin == io::Level::high ? io::Level::low : io::Level::high;
  world_.drive({edge.at, edge.line, pin});
}

void WiredBench::advance_world(std::int64_t until_ps) noexcept {
  while (world_.now_ps() < until_ps) {
    const std::int64_t stop_ps = mirror_ ? mirror_->stop_ps(until_ps) : until_ps;
    world_.advance(std::min(stop_ps, world_.now_ps() + slice_ps));
    if (mirror_) mirror_->follow(world_.now_ps(), gaps_);
    world_.take_arrivals();
  }
}

void WiredBench::look_at_pins() noexcept {
  const io::Time now(world_.now_ps());
  for (std::size_t k = 0; k < io::line_count; ++k)
    pins_.levels[k] = world_.wiring().level(line_id(k));
  for (std::size_t k = 0; k < io::channel_count; ++k)
    pins_.volts[k] = world_.volts(io::ChannelId{static_cast<std::uint16_t>(k)}, now);
  if (bench_.cycle.lead_s > 0.0) world_.predict(bench_.cycle.lead_s, pins_);
}

bool WiredBench::write() noexcept {
  if (const auto volts = world_.take_power_request()) powered_ = *volts > 0.0;
  look_at_pins();
  // Behind a co-processor the plant stands milliseconds back; what the driver does need not.
  if (mirror_) powered_ = world_.foretell_driver(world_.now_ps() + delay_.count(), pins_);
  outputs_.high = outputs_.released = 0;
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const io::LineId line = line_id(k);
    const std::uint32_t bit = 1U << k;
    const io::Level level = pins_.levels[k];
    const bool feeds = !powered_ && line != io::line::key;  // an unpowered controller
    if (io::from_controller(line) || feeds || level == io::Level::released)
      outputs_.released |= bit;
    else if (level == io::Level::high)
      outputs_.high |= bit;
  }
  for (std::size_t k = 0; k < io::channel_count; ++k)
    outputs_.volts[k] = powered_ ? pins_.volts[k] : 0.0;
  outputs_.powered = powered_;
  outputs_.kick = !outputs_.kick;
  const bool follows = controller_.write(outputs_);
  if (mirror_) mirror_->lead(world_.now_ps() + delay_.count());
  judge_volts();
  return follows && !(filtered_ && filtered_->dead());
}

/// The controller has seen other volts than the sensors gave. How long ago that began only the bus
/// knows: less long than it takes to be called stalled.
void WiredBench::judge_volts() noexcept {
  const io::WireCounts now = controller_.counts();
  const auto more = [&](std::uint64_t io::WireCounts::*count, std::string_view what) {
    if (now.*count == volts_said_.*count) return;
    volt_gaps_.note(std::max<std::int64_t>(world_.now_ps() - unshown_ps_, 0), world_.now_ps(), what,
                    "");
  };
  more(&io::WireCounts::failed_transfers, "converter failed");
  more(&io::WireCounts::late_transfers, "volts late");
  more(&io::WireCounts::cut_volts, "volts cut");
  volts_said_ = now;
}

}  // namespace stillrotor
