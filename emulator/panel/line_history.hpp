// One line of a run so far: its last edges to the picosecond, and what it did in bins of further
// and further back.
// Memory  at most 2.4 MB of edges, 32 KiB a level of bins.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace stillrotor {

class LineHistory {
 public:
  enum class State : std::uint8_t { low, high, unknown };
  static constexpr std::int64_t edges_most = 262'144;
  static constexpr std::size_t level_count = 7;
  static constexpr std::int64_t bins_most = 32'768;  // of a level
  static constexpr std::int64_t coarser = 8;

  /// bin_ps: of the finest level.
  LineHistory(bool initially_high, std::int64_t bin_ps);

  /// By time.
  void change(std::int64_t at_ps, State);
  State now() const noexcept { return now_; }

  /// line_column's bits of each column, [bounds[c], bounds[c + 1]); of the bins that it lies in,
  /// where the edges themselves are gone. 0 before time 0, and where the line's level is not known
  /// all the time. Bounds are one more than columns and never fall.
  void columns(std::span<const std::int64_t> bounds_ps, std::span<std::uint8_t>) const noexcept;
  std::uint8_t over(std::int64_t from_ps, std::int64_t to_ps) const noexcept {
    const std::array bounds{from_ps, to_ps};
    std::uint8_t column = 0;
    columns(bounds, {&column, 1});
    return column;
  }

 private:
  struct Level {
    std::vector<std::uint8_t> bins;  // ring
    std::int64_t count = 0;          // up to the one with the latest edge
  };
  static constexpr std::uint8_t doubt = 0x80;  // in a bin: not known all the time

  void enter(Level&, std::int64_t bin);
  std::size_t place(std::int64_t edge) const noexcept {
    return static_cast<std::size_t>(edge & (edges_most - 1));
  }
  std::int64_t oldest() const noexcept { return edges_ > edges_most ? edges_ - edges_most : 0; }
  std::int64_t first_later(std::int64_t than_ps) const noexcept;
  std::uint8_t from_edges(std::int64_t& next, std::int64_t from_ps,
                          std::int64_t to_ps) const noexcept;
  std::uint8_t from_bins(std::int64_t from_ps, std::int64_t to_ps) const noexcept;

  std::int64_t bin_ps_;
  State initial_, now_;
  std::int64_t edges_ = 0;           // so far
  std::vector<std::int64_t> at_ps_;  // rings
  std::vector<State> state_;
  std::array<Level, level_count> levels_;
};

}  // namespace stillrotor
