// What is done to the drive in a run, beside its gates, to the plant and to the reference.
#pragma once

#include "tests/reference/cvode/model/cvode_run.hpp"

namespace stillrotor::reference {

struct Change {
  enum class Kind {
    cut,           // the leg's conductor parts under current
    part_supply,   // on: parted
    chopper,       // on
    joint,         // ohm, in the leg's winding
    short_turns,   // share of the leg's winding, ohm
    short_phases,  // the leg's terminal to the next: ohm, henry
    freewheel      // fault
  };
  std::int64_t at_ps = 0;
  Kind kind = Kind::cut;
  int leg = 0;
  bool on = false;
  double ohm = 0.0, share = 0.0, henry = 0.0;
  plant::FreewheelFault fault = plant::FreewheelFault::none;
};

/// At this moment.
void make(const Change&, plant::Drive&);
void make(const Change&, CvodeRun&);

}  // namespace stillrotor::reference
