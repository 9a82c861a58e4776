// What a run is before it begins, for its record, and has become, for its result.
#pragma once

#include "emulator/bench/bench.hpp"
#include "emulator/cli/run_document.hpp"
#include "emulator/cli/tested.hpp"
#include "emulator/judge/result.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// All but what is kept. Throws like initial_lines_high().
RecordHeader record_header(const Bench&, const Scenario&, const Tested&);
Integrity integrity(const RunFacts&);
ResultFacts result_facts(const Bench&, const Scenario&, const Tested&, const RunFacts&);

}  // namespace stillrotor
