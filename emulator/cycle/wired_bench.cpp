#include "emulator/cycle/wired_bench.hpp"

#include <algorithm>

namespace stillrotor {
namespace {

/// The world keeps the edges of one advance in fixed room; 50 us of the fastest encoder fit.
constexpr std::int64_t slice_ps = 50'000'000;

constexpr io::LineId line_id(std::size_t k) noexcept {
  return io::LineId{static_cast<std::uint16_t>(k)};
}

}  // namespace

WiredBench::WiredBench(const Bench& bench, const Scenario& scenario,
                       io::WiredController& controller, RunSink& sink)
    : bench_(bench), controller_(controller), world_(bench, scenario, {}, sink), gaps_(sink) {}

void WiredBench::read() noexcept {
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
  for (; done_ < batch_.edge_count && batch_.edges[done_].at.count() <= until_ps; ++done_)
    drive(batch_.edges[done_]);
  advance_world(until_ps);
  world_.announce();
  gaps_.pass(world_.now_ps());
}

/// The world knows the harness and takes levels of a pin; on wires polarity is off already.
void WiredBench::drive(const io::Edge& edge) noexcept {
  advance_world(edge.at.count());
  io::Level pin = edge.level;
  if (pin != io::Level::released && !bench_.harness.lines[io::index(edge.line)].active_high)
    pin = pin == io::Level::high ? io::Level::low : io::Level::high;
  if (edge.at.count() < world_.now_ps())
    gaps_.note(edge.at.count(), world_.now_ps(), "edge came late", io::name(edge.line));
  world_.drive({edge.at, edge.line, pin});
}

void WiredBench::advance_world(std::int64_t until_ps) noexcept {
  while (world_.now_ps() < until_ps) {
    world_.advance(std::min(until_ps, world_.now_ps() + slice_ps));
    world_.take_arrivals();
  }
}

bool WiredBench::write() noexcept {
  if (const auto volts = world_.take_power_request()) powered_ = *volts > 0.0;
  const io::Time now(world_.now_ps());
  outputs_.high = outputs_.released = 0;
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const io::LineId line = line_id(k);
    const std::uint32_t bit = 1U << k;
    const io::Level level = world_.wiring().level(line);
    const bool feeds = !powered_ && line != io::line::key;  // an unpowered controller
    if (io::from_controller(line) || feeds || level == io::Level::released)
      outputs_.released |= bit;
    else if (level == io::Level::high)
      outputs_.high |= bit;
  }
  for (std::size_t k = 0; k < io::channel_count; ++k)
    outputs_.volts[k] =
        powered_ ? world_.volts(io::ChannelId{static_cast<std::uint16_t>(k)}, now) : 0.0;
  outputs_.kick = !outputs_.kick;
  return controller_.write(outputs_);
}

}  // namespace stillrotor
