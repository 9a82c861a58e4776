// Moves at once and in a row leave the same: for all ways in which five registers may be taken from
// six.
#include "io/mcu/cortexm/translate/moves.hpp"

#include <gtest/gtest.h>

#include <array>

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr int registers = 6, spare = 6;
using Registers = std::array<int, registers + 1>;

TEST(CortexMoves, InARowLeaveWhatTheyWouldAtOnce) {
  int changed_places = 0;
  for (int code = 0; code < 7776; ++code) {
    std::vector<Move> moves;
    Registers at_once{0, 1, 2, 3, 4, 5, 6};
    for (int to = 0, rest = code; to < 5; ++to, rest /= registers) {
      const int from = rest % registers;
      at_once[static_cast<std::size_t>(to)] = from;
      if (from != to) moves.push_back({to, from});
    }
    Registers in_a_row{0, 1, 2, 3, 4, 5, 6};
    bool spared = true;
    for (const Move& m : in_order(moves, spare)) {
      in_a_row[static_cast<std::size_t>(m.to)] = in_a_row[static_cast<std::size_t>(m.from)];
      spared = spared && m.to != spare;
    }
    changed_places += spared ? 0 : 1;
    in_a_row[spare] = spare;
    ASSERT_EQ(in_a_row, at_once) << code;
  }
  EXPECT_GT(changed_places, 1000);
}

}  // namespace
}  // namespace stillrotor::io::cortexm::translate
