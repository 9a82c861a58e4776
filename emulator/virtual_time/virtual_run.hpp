// Runs a bench with a simulated controller in virtual time, as fast as the machine goes.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <functional>
#include <string>

#include "emulator/bench/bench.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/run_outcome.hpp"

namespace stillrotor {

class LiveControl;

struct RunOptions {
  std::int64_t look_ahead_ps = 100'000'000;  // 100 us
  bool pace_wall = false;                    // slow down to real time, for people
  const std::atomic<bool>* stop = nullptr;   // set from a signal handler
  LiveControl* live = nullptr;               // a person drives; of run_virtual() only
  /// Called about ten times a second of wall time.
  std::function<void(double model_s, double speed_rad_s, double current_peak_A)> progress;
};

/// Which lines read high at time 0, for RecordHeader::initial_lines_high. Throws like
/// run_virtual().
std::array<std::uint8_t, io::line_bytes> initial_lines_high(const Bench&, const Scenario&,
                                                            const io::SimulatedController&);
/// The same where nothing is given by a recording.
std::array<std::uint8_t, io::line_bytes> initial_lines_high(const Bench&, const Scenario&);

/// Throws InputError or io::ConfigError before the first cycle; not afterwards. A controller that
/// crashes, hangs or exits lets go of the gates, and the run goes on to the scenario's end.
RunOutcome run_virtual(const Bench&, const Scenario&, io::SimulatedController&, RunSink&,
                       const RunOptions& = {});

}  // namespace stillrotor
