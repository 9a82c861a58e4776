// run.json: what is true of this one run on this one machine and no other. Nothing in it decides a
// verdict.
#pragma once

#include <filesystem>
#include <string>

#include "emulator/record/recorder.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor {

struct RunFacts {
  std::filesystem::path bench, scenario, folder;
  std::string started_utc;
  RunOutcome outcome;
  RecordSummary record;
};

/// The document's text.
std::string run_json(const RunFacts&);

}  // namespace stillrotor
