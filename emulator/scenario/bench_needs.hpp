// What a bench must have for a word of the scenario's language to mean anything.
#pragma once

#include <string_view>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// Does the action reach the controller by a wire that is there? True of those that need none.
bool wired(ActionKind, const Harness&) noexcept;

/// The parameter that the bench lacks for this action; empty: none.
std::string_view missing_part(ActionKind, const Bench&) noexcept;

/// Would it happen inside a timing co-processor, which has no such thing?
bool inside_the_chip(ActionKind) noexcept;

}  // namespace stillrotor
