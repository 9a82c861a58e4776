// Taking turns at a mailbox between two processes: a short look-out first, then sleep in the
// kernel.
#pragma once

#include <cstdint>

#include "io/hostfw/mailbox.hpp"

namespace stillrotor::io::hostfw {

enum Side : std::uint32_t { bench_side = 0, firmware_side = 1 };

class Turns {
 public:
  Turns(Mailbox& box, Side mine) noexcept : box_(box), mine_(mine) {}

  /// It is the other's turn now.
  void hand_over() noexcept;
  /// Until it is mine, or so many nanoseconds have gone; false: they have. < 0: for ever.
  bool wait(std::int64_t most_ns) noexcept;

 private:
  bool look_out() noexcept;

  Mailbox& box_;
  Side mine_;
  unsigned in_vain_ = 0;  // look-outs in a row: where no core is free, each costs the other its own
};

}  // namespace stillrotor::io::hostfw
