// What became different, most important first: verdicts; faults and protection; measures, by how
// many bands they moved; events; signals.
#pragma once

#include <string>
#include <vector>

#include "emulator/compare/baseline.hpp"
#include "emulator/compare/run_digest.hpp"

namespace stillrotor {

struct Change {
  double size = 0.0;  // bands; without bands: share of the larger of both
  std::string text;   // one line
};

struct Comparison {
  std::vector<std::string>
      set_otherwise;  // firmware, overrides, bench values, seeds: why, not what
  std::vector<std::string> verdicts, reactions;
  std::vector<Change> measures, events;  // largest first
  std::vector<Change> signals;           // largest first; decide only where no band is known
  std::string grounds;                   // by what "the same" was decided, one sentence
  bool by_bands = false;

  bool same() const noexcept {
    return verdicts.empty() && reactions.empty() && measures.empty() && events.empty() &&
           (by_bands || signals.empty());
  }
};

/// Exactly, to the last digit that the results and records hold. The runs are comparable.
Comparison compare(const RunDigest& before, const RunDigest& after);
/// What of the second run lies outside the bands of the first run's kind; `repeats` has the first
/// among its runs.
Comparison compare(const RunDigest& before, const RunDigest& after, const Baseline& repeats);
/// A run against a baseline: signals are not compared, the baseline holds none.
Comparison compare(const Baseline& baseline, const RunDigest& run);

/// At most a page: long lists are cut, and say how much is left.
std::string comparison_text(const Comparison&);

}  // namespace stillrotor
