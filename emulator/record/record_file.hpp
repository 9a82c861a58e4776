// record.h5, as it is written: whole chunks straight to the file, readable while it grows.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <vector>

#include "emulator/handover/batch_ring.hpp"
#include "emulator/record/frame_columns.hpp"
#include "emulator/record/record_layout.hpp"
#include "emulator/record/recorder.hpp"
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

  /// A chunk of frames, full or not; the same chunk may come again while it is not full.
  void write_frames(FrameColumns&);
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
  void create_signals(double rate_Hz);
  void create_edges(const RecordHeader&);
  static void write_chunk(Series&, const void* data, std::size_t bytes, hsize_t entries);
  static void write_pending(EdgeSeries&);
  void write_marks();

  std::filesystem::path file_;
  Hdf5Handle h5_;
  std::array<Series, column_count> columns_;
  std::array<EdgeSeries, io::line_count> edges_;
  Series marks_;
  std::vector<layout::MarkEntry> pending_marks_;
  Hdf5Handle covered_;
};

}  // namespace stillrotor
