// What is done to the drive in a run, beside its gates, to the plant and to the reference.
#pragma once

#include "tests/reference/cvode/model/cvode_run.hpp"

namespace stillrotor::reference {

struct Change {
  enum class Kind {
    cut,              // the leg's conductor parts under current
    part_supply,      // on: parted
    bounce_supply,    // apart for open_s every `seconds`, so many times
    bounced,          // on: apart; what the plant makes of it by itself
    contactor,        // on: told to close
    contactor_moved,  // on: closed; what the plant makes of it by itself
    weak_supply,      // ohm more
    chopper,          // on
    joint,            // ohm, in the leg's winding
    short_turns,      // share of the leg's winding, ohm
    short_phases,     // the leg's terminal to the next: ohm, henry
    temperatures,     // winding_K, rotor_K
    lose_flux,        // share of what is left of the magnets'
    end_turns,        // these shorts' arcs
    end_phases,
    ground,          // the leg's terminal to the negative rail: ohm; on: it begins
    switch_open,     // on; switch
    switch_shorted,  // on; switch
    pulse,           // both switches of the leg conduct, seconds from on to its own end
    freewheel        // fault
  };
  std::int64_t at_ps = 0;
  Kind kind = Kind::cut;
  int leg = 0;
  bool on = false;
  double ohm = 0.0, share = 0.0, henry = 0.0, seconds = 0.0, open_s = 0.0;
  int times = 0;
  double winding_K = 293.15, rotor_K = 293.15;
  plant::Switch which = plant::Switch::UH;
  plant::FreewheelFault fault = plant::FreewheelFault::none;
};

/// At this moment.
void make(const Change&, plant::Drive&);
void make(const Change&, CvodeRun&);

}  // namespace stillrotor::reference
