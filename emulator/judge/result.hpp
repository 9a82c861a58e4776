// result.json: everything deterministic that a run has to say, in one file. Field by field in
// docs/getting-started.md; same inputs and same binary give the same bytes.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "emulator/judge/judge.hpp"
#include "io/firmware_settings.hpp"

namespace stillrotor {

struct Integrity {
  std::uint64_t deadline_misses = 0, lost_edges = 0, late_writes = 0;
};

/// A run behind wires that are not there: its numbers say what they would get wrong.
struct RehearsalFacts {
  std::string route, imposed, grounds;
};

struct ResultFacts {
  std::string bench, scenario, clock;
  Integrity integrity;
  std::vector<std::string> overrides;
  std::map<std::string, std::uint64_t> seeds;
  std::vector<std::string> possible_faults;  // what could have been provoked on this bench
  std::optional<RehearsalFacts> rehearsal;
  std::string replay_trust;           // how long a replay can be believed; empty: no replay
  std::vector<io::Setting> settings;  // of the firmware, as read back
  std::string settings_sha256;        // over all of them, as settings_text() has them
  std::string firmware_sha256;        // empty: no firmware binary on this bench
  std::string signals_xxh128;
  std::string software_version, software_commit;
};

/// A line each, "pole_pairs = 4": the text whose sum is settings_sha256.
std::string settings_text(const std::vector<io::Setting>&);

/// The document's text, without trailing newline.
std::string result_json(const RecordReader&, const Judgement&, const ResultFacts&);

/// Writes to a temporary name and renames: absent means unfinished. Throws std::runtime_error.
void write_result(const std::filesystem::path& folder, const std::string& text);

}  // namespace stillrotor
