// record.h5, as it is written: whole chunks straight to the file, readable while it grows.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <vector>

#include "emulator/handover/batch_ring.hpp"
#include "emulator/record/frame_columns.hpp"
#include "emulator/record/overview.hpp"
#include "emulator/record/record_layout.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/record/room.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// Every call but the constructor throws std::runtime_error when the disk refuses; after that only
/// the destructor may follow.
class RecordFile {
 public:
  /// Throws std::runtime_error with the remedy.
  RecordFile(const std::filesystem::path& file, const RecordHeader&);
  ~RecordFile();
  RecordFile(const RecordFile&) = delete;
  RecordFile& operator=(const RecordFile&) = delete;

  /// Whether the disk has room for some megabytes more. Without it no more frames and edges may
  /// come; marks, flush() and finish() still have theirs.
  bool has_room() noexcept { return room_->held(); }

  /// A chunk of frames, full or not; the same chunk may come again while it is not full.
  void write_frames(FrameColumns&);
  /// A chunk of `count` frames that are not kept; what of it was written before stays.
  void skip_frames(std::size_t count);
  /// Rows of the overview behind those there are; not kept: only their place.
  void add_overview(std::size_t level, const OverviewRows&, bool keep);
  void add_edges(std::span<const LineEdge>);
  void add_mark(const Mark&);
  /// Makes everything so far readable: by readers at once, and after this process is killed.
  void flush(std::int64_t covered_ps);
  /// Marks the record as finished, closes the file.
  void finish(std::int64_t end_ps);

 private:
  /// A growing dataset of one dimension; `filled` entries lie in its last chunk's buffer.
  struct Series {
    Hdf5Handle dataset;
    hsize_t chunk = 0;
    hsize_t stored = 0;  // entries in completed chunks
  };
  struct EdgeSeries : Series {
    std::vector<layout::EdgeEntry> pending;
    std::size_t filled = 0, flushed = 0;
  };

  Series create_series(hid_t group, const std::string& name, hid_t type, hsize_t chunk);
  Series create_column(hid_t group, const std::string& name);
  void create_signals(double rate_Hz);
  void create_overview();
  void create_edges(const RecordHeader&);
  static void set_extent(Series&, hsize_t entries);
  static void write_chunk(Series&, const void* data, std::size_t bytes, hsize_t entries);
  std::span<const std::uint8_t> compressed(std::span<const float>);
  static void write_pending(EdgeSeries&);
  void write_marks();
  bool close_all() noexcept;

  std::filesystem::path file_;
  const int compression_;
  Hdf5Handle h5_;
  std::optional<Room> room_;
  std::array<Series, column_count> columns_;
  std::array<Series, layout::overview_levels> overview_;
  std::array<EdgeSeries, io::line_count> edges_;
  Series marks_;
  std::vector<layout::MarkEntry> pending_marks_;
  Hdf5Handle covered_;
  std::vector<std::uint8_t> shuffled_, deflated_;
};

}  // namespace stillrotor
