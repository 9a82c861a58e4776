// From a record and limits to a verdict, by the rules in docs/architecture.md.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/record/record_reader.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

enum class Verdict : unsigned char { PASS, FAIL, INVALID, NONE };
std::string_view name(Verdict) noexcept;

/// One measured number. undefined non-empty: it could not be measured, and why.
struct Measurement {
  double value = 0.0;
  double uncertainty = 0.0;  // half width, same unit
  bool at_least = false;     // it had not come to its end when the window closed
  std::string undefined;
  double from_s = 0.0, to_s = 0.0;  // the window in the record's time
};

struct MeasureInfo {
  std::string_view name;
  std::string_view unit;    // SI; empty: the limit says it
  bool per_phase;           // takes `phase: U|V|W`; without it the worst of three
  Asks asks;                // what else a limit on it must say
  std::string_view text;    // what it is, how it is computed, over what
  std::string_view source;  // definition: standard, textbook, or "own definition"
};
std::span<const MeasureInfo> measure_table() noexcept;

/// Computes one measure over a window; signal: "U", "V", "W" or empty; argument: what the measure
/// asks for (a harmonic's order, a pattern), else empty. Both ends of a window that
/// hangs on an event count from it. Never throws for a measurement that does not hold: it comes
/// back undefined.
Measurement measure(const RecordReader&, std::string_view name, std::string_view signal,
                    const Window&, std::string_view argument = {});

struct JudgedLimit {
  Limit limit;
  Measurement measured;
  std::string unit;
  Verdict verdict = Verdict::INVALID;
  std::string reason;  // one sentence with the numbers
};

struct Judgement {
  Verdict verdict = Verdict::NONE;
  std::string reason;               // one sentence
  std::vector<JudgedLimit> limits;  // the scenario's, then the implicit controller_alive
  std::vector<std::pair<const MeasureInfo*, Measurement>>
      overview;  // over the whole run, every measure that asks for nothing but a window
};
/// PASS, FAIL, INVALID per limit, and for the run: a valid FAIL wins over INVALID, INVALID over
/// PASS; no limits: NONE. A crashed or hung controller (an event mark) fails `controller_alive`.
Judgement judge(const RecordReader&, const Scenario&);

}  // namespace stillrotor
