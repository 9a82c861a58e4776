// What a bench must have for a word of the scenario's language to mean anything.
#pragma once

#include <string>
#include <string_view>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// Does the action reach the controller by a wire that is there? True of those that need none.
bool wired(ActionKind, const Harness&) noexcept;

/// The parameter that the bench lacks for this action; empty: none.
std::string_view missing_part(ActionKind, const Bench&) noexcept;

/// Volts that the numbers of a timing co-processor reach; 0 in its config: two fifths above the
/// supply's.
double chip_voltage_range_V(const plant::DriveParameters&, const io::LinkConfig&) noexcept;

/// Why the action cannot be on a bench with a timing co-processor, because it would happen inside
/// the chip, which has no such thing or no such numbers, and what can; empty: it can.
std::string beyond_the_chip(const Action&, const Bench&);

}  // namespace stillrotor
