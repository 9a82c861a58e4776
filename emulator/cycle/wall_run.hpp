// Runs a bench with a controller on real wires, on the wall clock.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/cycle/cycle.hpp"
#include "emulator/cycle/open_wires.hpp"
#include "emulator/cycle/real_time.hpp"
#include "emulator/handover/dropping_sink.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/run_outcome.hpp"
#include "io/wired.hpp"

namespace stillrotor {

struct WallOptions {
  bool allow_soft = false;                  // run without the rights of a real-time loop
  std::int64_t most_catch_up = 4;           // periods at once; more end the run
  const std::atomic<bool>* stop = nullptr;  // set from a signal handler
  LiveControl* live = nullptr;              // a person drives; nothing can be paused
  /// Called about twenty times a second, never from the cycle.
  /// wake: how late the cycle has woken so far.
  std::function<void(double model_s, double speed_rad_s, double current_peak_A,
                     const LatencyHistogram& wake)>
      progress;
};

/// How the loop fared; for run.json and result.json.
struct CycleReport {
  CycleSettings settings;
  CycleEnd end = CycleEnd::complete;
  std::vector<MissingRight> missing_rights;  // not empty: it ran soft
  bool short_idle = false;                   // deep idle states were kept away
  CycleCounts counts;
  io::WireCounts wires;
  GateReport gates;
  DroppedCounts dropped;
  ThreadUse use;  // of the cycle's thread, armed to end
  struct FarPlant {
    io::LinkStatus link;
    MirrorReport mirror;
  };
  std::optional<FarPlant> far_plant;  // the fast plant was a co-processor's
};

struct WallOutcome {
  RunOutcome run;
  CycleReport cycle;
};

/// What this computer does not grant a cycle with these settings. Throws NotPermitted where
/// anything is missing, unless that is allowed. The process's memory is locked from here on.
std::vector<MissingRight> require_rights(const CycleSettings&, bool allow_soft);

/// Throws NotPermitted (require_safe_to_arm() included), InputError or io::ConfigError before
/// arming; not afterwards. However it ends, the outputs stand at their safe level.
WallOutcome run_wall(const Bench&, const Scenario&, OpenWires&, RunSink&, const WallOptions&);

}  // namespace stillrotor
