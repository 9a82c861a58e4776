// run.json: what is true of this one run on this one machine and no other. Nothing in it decides a
// verdict.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "emulator/cli/rehearsal_report.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/virtual_time/run_outcome.hpp"
#include "io/mcu/workload.hpp"

namespace stillrotor {

struct RunFacts {
  std::filesystem::path bench, scenario, folder;
  std::string started_utc;
  RunOutcome outcome;
  std::optional<CycleReport> cycle;  // on the wall clock
  std::optional<Rehearsal> rehearsal;
  std::optional<io::mcu::Workload> workload;  // of firmware on a processor that counts it
  Keeping keeping;                            // of signals
  RecordSummary record;
};

/// The document's text.
std::string run_json(const RunFacts&);

}  // namespace stillrotor
