// What a rehearsal has to say: every measure of the exact run beside the one behind the wires.
#pragma once

#include <string>

#include "emulator/judge/judge.hpp"
#include "emulator/rehearsal/rehearsed_run.hpp"

namespace stillrotor {

struct Rehearsal {
  RehearsedRoute route;
  RehearsedOutcome outcome;
};

/// For people: the table, what was lost, whether the verdict changes.
std::string rehearsal_text(const Judgement& exact, const Judgement& rehearsed, const Rehearsal&);
/// rehearsal.json: the same for programs. Deterministic.
std::string rehearsal_json(const Judgement& exact, const Judgement& rehearsed, const Rehearsal&);

}  // namespace stillrotor
