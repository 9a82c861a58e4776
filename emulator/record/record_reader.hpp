// Reads a record, finished or cut short, whole or by window. Measures and reports use only this.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/handover/frame.hpp"
#include "emulator/record/overview.hpp"
#include "emulator/record/recorded_machine.hpp"

namespace stillrotor {

struct RecordedEdge {
  std::int64_t at_ps = 0;
  std::uint8_t level = 0;
};
struct RecordedMark {
  MarkKind kind = MarkKind::event;
  std::int64_t at_ps = 0, to_ps = 0;
  std::string name, detail;
};

class RecordReader {
 public:
  /// Throws std::runtime_error: not a record, unreadable, of another format.
  explicit RecordReader(const std::filesystem::path& file_or_folder);
  ~RecordReader();

  const std::string& bench() const noexcept;
  const std::string& scenario() const noexcept;
  const std::string& clock() const noexcept;
  double rate_Hz() const noexcept;
  int pole_pairs() const noexcept;
  const std::optional<RecordedMachine>& machine() const noexcept;  // none: has no such constants
  const RecordedLosses& losses() const noexcept;
  bool finished() const noexcept;  // false: the run was cut short
  double end_s() const noexcept;   // last instant that the record covers

  std::size_t frames() const noexcept;  // grid points; time of point k is (k + 1) / rate
  /// Values first .. first + count - 1 of one signal. This and the calls below throw
  /// std::out_of_range beyond frames(), std::runtime_error where the file is damaged.
  std::vector<float> values(Signal, std::size_t first, std::size_t count) const;
  std::vector<float> least(Signal, std::size_t first,
                           std::size_t count) const;  // spread signals only
  std::vector<float> greatest(Signal, std::size_t first,
                              std::size_t count) const;  // spread signals only
  /// Least and greatest of the points points * k to points * (k + 1) - 1 for bins first .. first +
  /// count - 1, as far as there are; also where the points themselves were not kept. `points`: one
  /// of layout::overview_points. Not a number: nothing is known.
  std::vector<OverviewBin> overview(Signal, std::size_t points, std::size_t first,
                                    std::size_t count) const;
  /// All edges of a line (io::LineId number), in order; and its level at time 0.
  const std::vector<RecordedEdge>& edges(std::uint16_t line) const;
  /// Fills `into` with a line's edges from number `first` on; returns how many there were.
  std::size_t read_edges(std::uint16_t line, std::size_t first, std::span<RecordedEdge> into) const;
  bool initially_high(std::uint16_t line) const noexcept;
  const std::vector<RecordedMark>& marks() const;  // by time

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor
