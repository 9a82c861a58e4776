// What a controller's answers to held Hall codes say of its wires: lines that are stuck, inverted
// or swapped, and the arrangement of phases and Halls.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "emulator/arrangement/arrangement.hpp"
#include "emulator/arrangement/hold_halls.hpp"

namespace stillrotor {

struct WiringFindings {
  std::vector<std::string> wrong;  // sentences, each with its remedy
  std::vector<std::string> notes;
  bool arranged = false;  // the six answers make sense, and `all` with them
  std::array<Arrangement, 36> all;
};

/// Which legs a look shows driven, and how. Legs whose switches are to be taken for exchanged: bit
/// by leg. Zeros where fewer than two are driven, or all alike.
LegDrive leg_drive(const GatesSeen&, unsigned exchanged = 0);

WiringFindings wiring_findings(const HallAnswers&, double hall_spacing_rad);

}  // namespace stillrotor
