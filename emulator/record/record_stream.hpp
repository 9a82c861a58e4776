// What becomes of what a run produces: the sum over it, the overview, what is kept and what is not.
//
// Slices   the grid in stretches of one chunk. Kept around events, they wait in memory until an
//          event has come near or is too far: a ring over the last seconds. Their overview is kept
//          always.
// Room     where the disk has none, slices wait too, up to `held_most`; then the oldest is lost.
//          Writing goes on when there is room again.
// Gaps     what is not kept or lost is a mark of kind gap, from the last point before to the last
//          point in it; each line's last edge in it is kept, so that levels hold behind it.
// Order    frames in order, edges in order; edges may come up to `settle_s` after frames.
// Errors   RecordFile's: the first one ends the file, and is said in the summary.
// Threads  one.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "emulator/handover/batch_ring.hpp"
#include "emulator/record/frame_columns.hpp"
#include "emulator/record/record_file.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/record/signal_hash.hpp"

namespace stillrotor {

class RecordStream {
 public:
  static constexpr std::size_t held_most = 8;  // slices beyond those that wait for an event
  static constexpr double settle_s = 0.5;

  /// Throws as RecordFile.
  RecordStream(const std::filesystem::path& file, const RecordHeader&);

  void add(const Batch&) noexcept;
  /// Makes what is decided readable.
  void flush() noexcept;
  /// Without an end: a record that was cut short.
  RecordSummary finish(std::optional<std::int64_t> end_ps) noexcept;

 private:
  struct Slice {
    FrameColumns frames{layout::frame_chunk};
    std::vector<LineEdge> edges;  // that are not in the file
    std::int64_t from_ps = 0, to_ps = 0;
    std::size_t flushed = 0;  // frames of it in the file
    bool wanted = false;
  };
  struct Gap {
    const char* name = nullptr;  // nullptr: none is open
    std::int64_t from_ps = 0, to_ps = 0;
    std::uint64_t frames = 0, edges = 0;
  };
  using Slices = std::deque<std::unique_ptr<Slice>>;

  void add_edges(std::span<const LineEdge>) noexcept;
  void add_frames(std::span<const Frame>) noexcept;
  void add_mark(const Mark&) noexcept;
  Slice& open_slice(std::int64_t from_ps);
  Slice& slice_at(std::int64_t at_ps) noexcept;
  void complete_slice() noexcept;
  void summarise(const Slice&) noexcept;
  void settle() noexcept;
  void decide_front(bool too_old) noexcept;
  void write_front() noexcept;
  void skip_front(const char* name) noexcept;
  void write_edges(std::vector<LineEdge>&) noexcept;
  void want_around(std::int64_t at_ps) noexcept;
  void close_gap() noexcept;
  bool room() noexcept;
  /// Does it with a file that still works; its first failure is its last call.
  template <class Do>
  void with_file(Do&& act) noexcept;

  const Keeping keeping_;
  const double rate_Hz_;
  const std::int64_t before_ps_, after_ps_;
  const std::size_t held_;
  std::optional<RecordFile> file_;
  SignalHash hash_;
  Slices slices_;  // never empty; the last one is being filled
  std::vector<std::unique_ptr<Slice>> spare_;
  std::uint64_t points_ = 0;  // of the grid, so far
  std::int64_t newest_ps_ = 0, covered_ps_ = 0;
  std::int64_t wanted_until_ps_ = 0;  // by events
  Gap gap_;
  std::array<std::optional<LineEdge>, io::line_count> last_skipped_;
  bool room_ = true;
  std::uint64_t since_look_ = 0;  // edges written
  RecordSummary summary_;
};

}  // namespace stillrotor
