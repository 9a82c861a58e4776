// Writes a run's record: record.h5 (HDF5, single writer, many readers).
// The producer's calls cost a copy into a batch; a thread of its own writes, and compresses where
// that is asked for. When the disk cannot follow, the producer waits: virtual time does not care,
// and before the cycle on the wall clock stands a DroppingSink.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "emulator/handover/frame.hpp"
#include "emulator/record/recorded_machine.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// What of a run is kept at the grid's full rate.
struct Keeping {
  bool around_events = false;  // false: everything
  double before_s = 2.0,
         after_s = 1.0;  // of each fault and event; the last before_s of the run too
  int compression = 0;   // of signals: 0, none, to 9, the smallest
};

struct RecordHeader {
  std::string bench, scenario;             // names
  std::string clock;                       // "virtual" or "wall"
  double rate_Hz = 20e3;                   // of the grid
  int pole_pairs = 1;                      // measures in electrical turns need it
  std::optional<RecordedMachine> machine;  // constants, of machines that have them
  RecordedLosses losses;
  std::uint8_t initial_lines_high[io::line_bytes] = {};  // bit k: LineId k reads high at time 0
  Keeping keeping{};
};

/// What the writer thread has seen; for status lines and result.json.
struct RecordSummary {
  std::uint64_t frames = 0, edges = 0, marks = 0;
  std::uint64_t lost = 0;  // not taken in: a line that does not exist; the rest is kept
  // For which a full disk had no room; gap marks say when. (Not: what was not to be kept.)
  std::uint64_t lost_frames = 0, lost_edges = 0;
  std::string signals_xxh128;  // over frames and edges in order; empty until finish()
  std::string failure;         // the disk failed; empty: it did not
};

class Recorder final : public RunSink {
 public:
  /// Creates the files in `folder` (which exists). Throws std::runtime_error with the remedy.
  Recorder(const std::filesystem::path& folder, const RecordHeader&);
  /// Without finish(): keeps what came, as a record that was cut short.
  ~Recorder() override;
  void frame(const Frame&) noexcept override;
  void edge(const LineEdge& one) noexcept override { edges({&one, 1}); }
  void edges(std::span<const LineEdge>) noexcept override;
  void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps = 0) noexcept override;
  /// Writes everything out, closes the files. Idempotent; nothing is taken in afterwards.
  RecordSummary finish(std::int64_t end_ps) noexcept;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor
