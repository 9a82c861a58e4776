#include "emulator/judge/gates.hpp"

namespace stillrotor {

std::vector<LegEdge> leg_edges(const RecordReader& record, int leg) {
  const auto& high = record.edges(high_gate(leg));
  const auto& low = record.edges(low_gate(leg));
  std::vector<LegEdge> merged;
  merged.reserve(high.size() + low.size());
  auto next_high = high.begin(), next_low = low.begin();
  while (next_high != high.end() || next_low != low.end()) {
    const bool take_high = next_low == low.end() ||
                           (next_high != high.end() && (next_high->at_ps != next_low->at_ps
                                                            ? next_high->at_ps < next_low->at_ps
                                                            : next_high->level == 0));
    const RecordedEdge& edge = take_high ? *next_high++ : *next_low++;
    merged.push_back({edge.at_ps, take_high ? 0 : 1, edge.level != 0});
  }
  return merged;
}

std::array<bool, 2> initially_on(const RecordReader& record, int leg) {
  return {record.initially_high(high_gate(leg)), record.initially_high(low_gate(leg))};
}

}  // namespace stillrotor
