// Gates that come in as voltages behind RC filters: from readings to the shares of time for which
// the switches are on, and whether the readings are still worth anything.
//
// Share    (V - V_off) / (V_on - V_off), held between 0 and 1; within the tolerance of an end it is
//          that end, or a switch that never comes on would come on for a moment each period.
// Old      a reading that is twice as old as its converter's settings let it become: the shares
// stay
//          as they were, and what follows is not to be trusted. Twenty times: the converter is
//          dead.
// Before   the first reading of every gate all switches are off.
// Time     since arming.   RT: everything but the constructor is safe.
#pragma once

#include <array>

#include "emulator/bench/bench.hpp"
#include "emulator/gate_quality/averaged_gates.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class FilteredGates {
 public:
  /// Of a bench with cycle.gates.filtered.
  explicit FilteredGates(const Bench&);

  void take(const io::GateVolts&, io::Time now) noexcept;
  const GateShares& shares() const noexcept { return shares_; }

  /// All readings have come, and none is old.
  bool fresh() const noexcept { return age_ <= old_after_; }
  bool dead() const noexcept { return age_ > dead_after_; }
  /// Of the oldest reading; so long there may have been none.
  io::Time age() const noexcept { return age_; }

 private:
  FilteredGateSettings settings_;
  io::Time old_after_{}, dead_after_{};
  GateShares shares_{};
  io::Time age_{};
};

}  // namespace stillrotor
