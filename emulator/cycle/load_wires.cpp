#include "emulator/cycle/load_wires.hpp"

#include <array>

namespace stillrotor {
namespace {

struct Turn {
  std::int64_t at_per_mille;  // of the PWM's period
  std::uint16_t line;
  bool on;
};
/// Duties of 56, 50 and 44 %, dead time 2 %: at 20 kHz 1 us. In order of time.
constexpr std::array<Turn, 12> pattern{{{200, 1, false},
                                        {220, 0, true},
                                        {230, 3, false},
                                        {250, 2, true},
                                        {260, 5, false},
                                        {280, 4, true},
                                        {720, 4, false},
                                        {740, 5, true},
                                        {750, 2, false},
                                        {770, 3, true},
                                        {780, 0, false},
                                        {800, 1, true}}};

}  // namespace

io::Edge LoadWires::edge(std::int64_t number) const noexcept {
  constexpr auto turns = static_cast<std::int64_t>(pattern.size());
  const Turn& turn = pattern[static_cast<std::size_t>(number % turns)];
  const std::int64_t at = number / turns * period_ps_ + turn.at_per_mille * period_ps_ / 1000;
  return {io::Time(at), io::LineId{turn.line}, turn.on ? io::Level::high : io::Level::low};
}

void LoadWires::read(io::EdgeBatch& batch) noexcept {
  const io::Time now(1000 * (clock_.now_ns() - armed_ns_));
  while (batch.edge_count < io::EdgeBatch::most_edges) {
    const io::Edge next = edge(next_);
    if (next.at > now) return;
    batch.edges[batch.edge_count++] = next;
    ++next_;
    ++counts_.edges;
  }
}

}  // namespace stillrotor
