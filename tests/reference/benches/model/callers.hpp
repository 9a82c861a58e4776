// The plant as callers ask it: the same bench, whoever looks when.
#pragma once

#include "tests/reference/benches/model/bench.hpp"
#include "tests/reference/benches/model/connector.hpp"

namespace stillrotor::reference {

enum class Manner {
  plain,     // from moment to moment
  restless,  // irregular steps, looks ahead and back, copies that go on in the original's place
  playing    // gate edges handed over many at a time
};

/// seed: of when a restless caller looks.
Shown ask_plant(const Bench&, const std::vector<Moment>&, Manner, std::uint64_t seed);

}  // namespace stillrotor::reference
