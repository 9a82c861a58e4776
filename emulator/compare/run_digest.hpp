// What of a finished run is compared: from result.json, record.h5 and the resolved files beside
// them.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace stillrotor {

/// A number of a run. Limits and the overview's rows alike.
struct DigestedMeasure {
  std::string key;              // "torque_mean, 2 s to 3 s"; of the overview: the name alone
  std::string unit;             // SI
  std::optional<double> value;  // none: could not be measured
  std::string verdict;          // of a limit; else empty
};

/// Something that happened. Alignment: by the last action or fault before it, else by the start.
struct DigestedEvent {
  enum class Kind : unsigned char { cause, reaction, other };
  Kind kind = Kind::other;  // cause: action or fault of the scenario; reaction: of the plant, the
                            // power stage, the controller; other: its words, and gates that switch
  std::string key;          // "all gates off #2": its name and the how-manieth of that name
  double at_s = 0.0;        // of the run
  std::string since;        // key of the cause it is timed from; empty: the start
  double after_s = 0.0;     // since then

  /// Its coming or going is a change of faults and protection.
  bool counts() const noexcept { return kind != Kind::other; }
};

struct RunDigest {
  std::filesystem::path folder;
  std::string bench, scenario, clock, verdict, reason, firmware_sha256;
  std::string signals_xxh128;  // empty: of a version that summed up otherwise
  std::uint64_t seed = 0;
  std::vector<std::string> overrides;
  std::vector<std::string> bench_lines, scenario_lines;  // resolved; scenario without its seed
  std::vector<DigestedMeasure> measures;  // limits in the scenario's order, then the overview
  std::vector<DigestedEvent> events;      // in order of time

  bool judged() const noexcept {
    return verdict == "PASS" || verdict == "FAIL" || verdict == "NONE";
  }
};

/// Throws std::runtime_error with the remedy: no folder of a finished run, damaged.
RunDigest digest_of(const std::filesystem::path& run_folder);

/// Why two runs cannot be compared, with both sides; empty: they can.
std::string not_comparable(const RunDigest&, const RunDigest&);

}  // namespace stillrotor
