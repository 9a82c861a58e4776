// Moves between registers that happen at once, as a row of single ones.
//
// RT     allocates.
#pragma once

#include <algorithm>
#include <vector>

namespace stillrotor::io::cortexm::translate {

struct Move {
  int to, from;
};

/// No two go to the same register. spare: a register that is none of theirs; it is used where some
/// change places.
inline std::vector<Move> in_order(std::vector<Move> moves, int spare) {
  std::vector<Move> row;
  while (!moves.empty()) {
    const auto is_awaited = [&](int reg) {
      return std::any_of(moves.begin(), moves.end(),
                         [reg](const Move& m) { return m.from == reg; });
    };
    const auto free =
        std::find_if(moves.begin(), moves.end(), [&](const Move& m) { return !is_awaited(m.to); });
    if (free == moves.end()) {
      const int aside = moves.front().to;
      row.push_back({spare, aside});
      for (Move& m : moves)
        if (m.from == aside) m.from = spare;
      continue;
    }
    row.push_back(*free);
    moves.erase(free);
  }
  return row;
}

}  // namespace stillrotor::io::cortexm::translate
