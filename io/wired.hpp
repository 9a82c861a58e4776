// What a controller under test on real wires is to the bench: the second contract beside
// SimulatedController (connector.hpp). One object owns the lines and buses of one bench.
//
// Time    stamps count from arm(), on CLOCK_MONOTONIC.
// Levels  as the receiver reads them, after polarity (active-low, open drain) of the wires: lines
//         that the controller drives high = on (gates: switch commanded on), lines that the bench
//         drives as the controller's pin reads them.
// Threads read(), write(): the cycle's thread only. make_safe(): any thread, any time from open()
//         on, also while the cycle hangs inside write(). Others: the thread that sets up.
// Errors  open(), arm() throw ConfigError with the remedy; nothing after arm() throws.
// RT      read(), write(), make_safe(), counts(): no allocation, lock, log or throw; system calls
//         only where the backend's README says which.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor::io {

/// What one read brings. Fixed size; what does not fit stays with the backend for the next read.
struct EdgeBatch {
  static constexpr std::size_t most_edges = 1024, most_gaps = 32;
  std::array<Edge, most_edges> edges;  // ordered by time
  std::array<Gap, most_gaps> gaps;     // stretches in which edges may be missing
  std::size_t edge_count = 0, gap_count = 0;

  void clear() noexcept { edge_count = gap_count = 0; }
};

/// What the bench puts on its wires; of lines and channels that are not wired, anything.
struct WireOutputs {
  std::uint32_t high = 0;      // bit by LineId
  std::uint32_t released = 0;  // bit by LineId: nobody drives it, whatever `high` says
  std::array<double, channel_count> volts{};
  bool powered = true;  // the controller has its supply; without it no channel may feed it
  bool kick = false;    // changes every cycle, for an external retriggerable watchdog, where wired
};
static_assert(line_count <= 32);

/// Lines of the bench itself, beside the connector, both so that a broken wire stops the bench.
enum class Sensed : std::uint8_t { not_wired, off, on };
struct BenchInputs {
  Sensed stop_circuit = Sensed::not_wired;  // on: closed, nobody has pressed the emergency stop
  Sensed bus_dead = Sensed::not_wired;      // on: the power stage's bus is measured dead
};

/// A voltage that the bench reads at a wire.
struct AnalogReading {
  double volts = 0.0;
  Time at{};           // a reading that grows old says that its bus fails
  bool valid = false;  // there has been one
};
/// By gate line.
using GateVolts = std::array<AnalogReading, gate_count>;

/// Since arm(), of converters since open(). Only ever grow.
struct WireCounts {
  std::uint64_t edges = 0;        // read
  std::uint64_t lost_edges = 0;   // known to be lost
  std::uint64_t gaps = 0;         // stretches in which any may be
  std::uint64_t late_stamps = 0;  // older than one that was read before
  std::uint64_t failed_writes = 0;
  // of converters
  std::uint64_t transfers = 0, failed_transfers = 0;
  std::uint64_t late_transfers = 0;  // writes that found volts of before not yet on the wires
  std::uint64_t cut_volts = 0;       // values that a channel's limits cut
  std::int64_t longest_transfer_ns = 0;
};

class FarPlant;  // io/link/far_plant.hpp

class WiredController {
 public:
  virtual ~WiredController() = default;

  /// Takes lines and buses and starts threads of its own; outputs stand at their safe level.
  virtual void open() = 0;
  /// Time 0 is this instant of CLOCK_MONOTONIC; edges before it are dropped. The first read() then
  /// begins with an edge at time 0 for every wired line of the controller that stands on.
  virtual void arm(std::int64_t monotonic_ns) = 0;

  /// Appends what has come in, stamped no later than the moment of the call.
  virtual void read(EdgeBatch&) noexcept = 0;
  /// False: the wires do not follow; the cycle goes to the safe state.
  virtual bool write(const WireOutputs&) noexcept = 0;
  /// As they stand now; from open() on. RT: as read().
  virtual BenchInputs bench_inputs() noexcept { return {}; }
  /// Gates that come in as filtered voltages, not as edges. RT: as read().
  virtual GateVolts gate_volts() noexcept { return {}; }
  /// Outputs to their safe level (harness: `safe`), and there they stay: write() does nothing any
  /// more.
  virtual void make_safe() noexcept = 0;
  /// Safe, then lines and buses are given back. Twice does no harm.
  virtual void close() noexcept = 0;

  virtual WireCounts counts() const noexcept = 0;
  /// Where the fast part of the plant stands on a co-processor. nullptr: it is the bench's own.
  virtual FarPlant* far_plant() noexcept { return nullptr; }
};

}  // namespace stillrotor::io
