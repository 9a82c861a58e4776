#include "emulator/cycle/simulated_wires.hpp"

#include <algorithm>

namespace stillrotor {
namespace {

/// What one call of run() may bring: all lines of a controller, several times over.
constexpr std::size_t burst = 64;
constexpr int calls_most = 100'000;  // per read; a controller that does not move on is left alone

constexpr io::LineId line_id(std::size_t k) noexcept {
  return io::LineId{static_cast<std::uint16_t>(k)};
}

}  // namespace

SimulatedWires::SimulatedWires(io::SimulatedController& controller, double supply_V,
                               const Harness& harness, CycleClock& clock) noexcept
    : controller_(controller), supply_V_(supply_V), harness_(harness), clock_(clock) {}

void SimulatedWires::read(io::EdgeBatch& batch) noexcept {
  const std::int64_t now = now_ps();
  for (int calls = 0; alive() && reached_ps_ < now && calls < calls_most; ++calls) {
    if (driven_count_ + burst > driven_.size()) break;
    reached_ps_ = std::max(reached_ps_, controller_.run(io::Time(now)).count());
  }
  const std::size_t taken = std::min(driven_count_, io::EdgeBatch::most_edges - batch.edge_count);
  std::copy_n(driven_.begin(), taken,
              batch.edges.begin() + static_cast<std::ptrdiff_t>(batch.edge_count));
  std::move(driven_.begin() + static_cast<std::ptrdiff_t>(taken),
            driven_.begin() + static_cast<std::ptrdiff_t>(driven_count_), driven_.begin());
  batch.edge_count += taken;
  driven_count_ -= taken;
  counts_.edges += taken;
}

bool SimulatedWires::write(const io::WireOutputs& outputs) noexcept {
  const std::uint32_t levels = (shown_.high ^ outputs.high) & ~outputs.released;
  const std::uint32_t changed = levels | (shown_.released ^ outputs.released);
  shown_ = outputs;
  reached_ps_ = std::max(reached_ps_, now_ps());
  const bool key = (outputs.high >> io::index(io::line::key) & 1U) ==
                   static_cast<unsigned>(harness_.lines[io::index(io::line::key)].active_high);
  if (key != powered_) switch_supply(key);
  if (!alive()) return true;
  for (std::size_t k = 0; k < io::line_count; ++k)
    if ((changed >> k & 1U) != 0 && !io::from_controller(line_id(k)))
      controller_.deliver({io::Time(reached_ps_), line_id(k), level(line_id(k), {})});
  return true;
}

void SimulatedWires::switch_supply(bool on) noexcept {
  powered_ = on;
  try {
    controller_.power(on ? supply_V_ : 0.0, io::Time(reached_ps_), *this);
  } catch (...) {
    powered_ = false;  // a controller that will not start drives nothing
  }
}

void SimulatedWires::drive(const io::Edge& edge) noexcept {
  io::Edge on_wire = edge;
  if (edge.level != io::Level::released && !harness_.lines[io::index(edge.line)].active_high)
    on_wire.level = edge.level == io::Level::high ? io::Level::low : io::Level::high;
  if (driven_count_ < driven_.size())
    driven_[driven_count_++] = on_wire;
  else
    ++counts_.lost_edges;
}

io::Level SimulatedWires::level(io::LineId line, io::Time) noexcept {
  const std::uint32_t bit = 1U << io::index(line);
  if ((shown_.released & bit) != 0) return io::Level::released;
  return (shown_.high & bit) != 0 ? io::Level::high : io::Level::low;
}

}  // namespace stillrotor
