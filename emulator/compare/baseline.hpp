// How far a bench's runs differ by themselves: mean and spread of every measure and of every
// event's time over repeats, most of all with other seeds. Band  mean +- t s sqrt(1 + 1/N): where
// the next run of the same kind lies with 99.9 %, t of Student's
//       distribution with N - 1 degrees of freedom, s the standard deviation; at least the seven
//       digits of result.json. Source: prediction interval of a normal value, textbook.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "emulator/compare/run_digest.hpp"

namespace stillrotor {

struct Band {
  double mean = 0.0, half_width = 0.0;
  std::size_t seen = 0;  // in how many of the runs it had a value, or happened
  std::string unit;
  std::string verdict;  // of a limit: the same in all runs; "*": it differed; of an event: counting

  /// 1: at the band's edge.
  double bands_from(double value) const noexcept;
};

/// In the place of an event's verdict: its coming or going is a change of faults and protection.
inline constexpr const char* counting = "counts";

struct Baseline {
  std::string bench, scenario, clock, verdict;  // verdict "*": it differed
  std::size_t runs = 0;
  std::vector<std::string> scenario_lines;
  std::vector<std::string> firmware_sha256;      // sorted, each once
  std::vector<std::uint64_t> seeds;              // sorted
  std::map<std::string, Band> measures, events;  // by key; events: seconds after their cause
};

inline constexpr std::size_t fewest_repeats = 3;

/// Of comparable runs, fewest_repeats or more. Throws std::invalid_argument: too few, not
/// comparable, INVALID runs, one run twice.
Baseline baseline_of(const std::vector<RunDigest>&);

/// Text for version control: keys sorted, one value a line, the same bytes for the same runs.
std::string baseline_text(const Baseline&);
/// Throws std::runtime_error with the remedy.
Baseline read_baseline(const std::filesystem::path& file);

std::string not_comparable(const Baseline&, const RunDigest&);

}  // namespace stillrotor
