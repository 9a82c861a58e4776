// What a finished run has to say to a person.
#pragma once

#include <filesystem>
#include <string>

#include "emulator/judge/judge.hpp"
#include "emulator/virtual_time/run_outcome.hpp"

namespace stillrotor {

/// Measures against limits, verdict with its reason, where everything lies. Without limits: the
/// measures of the whole run.
std::string summary(const Judgement&, const RunOutcome&, const std::filesystem::path& folder);

/// 0 PASS and NONE, 1 FAIL, 3 INVALID.
int exit_status(Verdict) noexcept;

}  // namespace stillrotor
