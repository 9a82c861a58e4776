// Which wire of a bench goes where: made from its harness, so that table and drawing never differ
// from what the program drives.
#pragma once

#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"

namespace stillrotor {

/// One wire between bench and controller.
struct Wire {
  std::string signal;      // "hall.U"
  bool to_controller;      // the bench drives it
  std::string bench_pin;   // as the bench's backend names it; "simulated" where there is no wire
  std::string controller;  // the controller's pin; "-" where the bench does not say
  std::string level;       // "on is high, pulled up"
  std::string protection;  // what stands in the wire, by common practice
};

struct WiringPlan {
  std::string title;
  bool simulated = false;             // the controller is: nothing has to be wired
  std::vector<std::string> cautions;  // first of all
  std::vector<Wire> wires;            // gates first, then lines, then channels
};

WiringPlan wiring_plan(const Bench&);

/// A drawing of it, one wire a row, bench on the left: SVG 1.1, complete in one file, black on
/// white, readable without colour. Text is escaped.
std::string drawing(const WiringPlan&);

}  // namespace stillrotor
