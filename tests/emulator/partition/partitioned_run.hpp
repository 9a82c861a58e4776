// A bench whose controller sees the co-processor only: the chip with its core (io/link/port), wires
// with delays, the session at Linux' end, and the mirror behind it, in virtual time.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/partition/link_settings.hpp"
#include "emulator/partition/mirror.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/connector.hpp"
#include "io/link/session.hpp"

namespace stillrotor::test {

struct PartitionedOptions {
  std::int64_t settle_ns = 3'000'000'000;              // for the link's clock, before arming
  std::int64_t period_ns = 1'000'000;                  // of the cycle
  std::int64_t behind_ns = 4'000'000;                  // the mirror behind the clock
  std::int64_t ahead_ns = 3'000'000;                   // what is sent, ahead of it
  std::int64_t way_ns = 150'000, jitter_ns = 200'000;  // of a frame, either way
  double drift = 30e-6;                                // of the chip's counter
  double step_s = 1e-6;                                // of the chip
  // What goes wrong on purpose.
  std::function<void(io::Ahead&)> spoil;      // before it leaves
  std::function<bool(const io::Edge&)> lose;  // before the mirror sees it, untold
};

struct PartitionedOutcome {
  MirrorReport mirror;
  io::LinkStatus link;
  bool live = false;  // at the end
  io::Health controller = io::Health::running;
  std::vector<Mirror::Correction> distrusted;
  std::vector<io::Gap> gaps;  // told by the link
  std::uint64_t gate_edges = 0, late_gate_edges = 0;
  plant::Drive::Health plant;
};

/// What the driver's hands do is at the chip's pins at its own time; everything else of the
/// scenario happens in the mirror. Every frame, edge and mark of it goes into the sink.
PartitionedOutcome run_partitioned(const Bench&, const Scenario&, io::SimulatedController&,
                                   RunSink&, const PartitionedOptions& = {});

}  // namespace stillrotor::test
