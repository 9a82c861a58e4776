// A controller under test on bits of mapped registers: one core looks at the level register all the
// time and stamps changes with the cycle counter. See README.md.
//
// Stamps the middle between the two looks that a change lies between.
// RT     read(), write(), bench_inputs(), make_safe(): no system call; as slow as the registers.
#pragma once

#include <memory>

#include "io/polled/config.hpp"
#include "io/polled/poll_gaps.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

class PolledController : public WiredController {
 public:
  /// Time between two looks, of all looks since open() [ticks].
  virtual const PollGaps& poll_gaps() const noexcept = 0;
  virtual double ns_per_tick() const noexcept = 0;
};

/// Not opened yet. Throws ConfigError where settings cannot be together.
std::unique_ptr<PolledController> make_polled(const PolledConfig&);

}  // namespace stillrotor::io
