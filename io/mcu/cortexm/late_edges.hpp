// Edges that a chip hears later. Where an edge of a pin does nothing but move a count, or nothing
// at all, until a register is looked at, whoever is outside may keep it until then. The chip asks
// for what was kept: before a register is looked at in which it would show, and before anything
// changes that listens to pins. RT     safe.
#pragma once

#include "io/mcu/clock.hpp"

namespace stillrotor::io::cortexm {

using mcu::Cycle;

class LateEdges {
 public:
  virtual ~LateEdges() = default;
  /// All that came before that cycle arrives now, each at its own.
  virtual void catch_up(Cycle) noexcept = 0;
  /// The same; and what listens to pins is about to change.
  virtual void listeners_change(Cycle) noexcept = 0;
};

}  // namespace stillrotor::io::cortexm
