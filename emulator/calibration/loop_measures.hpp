// What joined lines are worth on this very computer: how long a write takes to its stamp, how the
// stamps scatter, how much later one line's are than the others', and how many edges come in
// without loss.
//
// Stamps  are held against the moment at which the write was called. So write and jitter contain
//         what the call itself takes, and a line's skew that of its output: upper bounds, as long
//         as the outputs of one call are closer together than what is measured.
// Left out writes that something else of this computer interrupted (longer than thrice the
//         median): they say nothing of the stamps. They are counted.
// Errors  MeasurementFailed: nothing that can be trusted, with the remedy; as HeldLines.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "emulator/bench/line_calibration.hpp"
#include "emulator/calibration/loop_wiring.hpp"

namespace stillrotor {

class MeasurementFailed : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

struct LoopSettings {
  int toggles = 500;                  // of each line alone, and of all at once
  std::int64_t spacing_ns = 500'000;  // between two edges of a line, and a little more each time
  double slowest_per_s = 500.0, fastest_per_s = 50e6;  // edges of all lines together, sent
  double stage_s = 0.4;                                // for which each rate is held
  std::int64_t most_in_stage = 200'000;  // edges: enough to fill every queue on the way
};

struct LineDelay {
  io::LineId output, input;
  double rise_s = 0.0, fall_s = 0.0;  // from the call to the stamp, mean; rise: of the wire
  double jitter_s = 0.0;              // rms about these means
};

struct LoopMeasures {
  std::vector<LineDelay> lines;
  double write_s = 0.0;   // all lines in one write: from the call to the last stamp, mean
  double jitter_s = 0.0;  // rms, all lines together
  std::int64_t writes = 0, interrupted = 0;
  double edges_per_s = 0.0;    // the largest rate of which every edge came
  bool more_not_sent = false;  // no faster edges could be sent: the true limit lies above
  LossNotice loss = LossNotice::not_provoked;
};

/// The pairs are joined (check_loop). Some 15 s, most of it the rates.
LoopMeasures measure_loop(HeldLines&, std::span<const LoopPair>, const LoopSettings& = {});

}  // namespace stillrotor
