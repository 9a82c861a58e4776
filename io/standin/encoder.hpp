// Incremental encoder: edges of A, B and Z to a position, a speed and the place of the index.
//
// Counts  4 a line; A leads B forward. Count n covers positions [n, n + 1); an edge says exactly
//         where the shaft is, and between edges the last speed carries it on within its count.
// Index   Z is high during the one count whose lower end is the index angle.
// RT      safe, O(1), no libm.
#pragma once

#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor::io::standin {

class Encoder {
 public:
  void reset(bool a, bool b, Time now) noexcept;

  void set_a(bool a, Time at) noexcept { channel_edge(a, b_, at); }
  void set_b(bool b, Time at) noexcept { channel_edge(a_, b, at); }
  void set_z(bool z, Time at) noexcept;

  std::int64_t count() const noexcept { return count_; }
  /// Count whose lower end is the index; valid with indexed(). Settles at the edge after Z or at
  /// the next update(): Z and the channel edge of the same instant may come in either order.
  std::int64_t index_count() const noexcept { return index_count_; }
  bool indexed() const noexcept { return indexed_; }

  /// Share of the present count already passed, 0 to 1.
  double fraction(Time now) const noexcept;
  /// Refreshes the speed estimate; once a control period.
  void update(Time now) noexcept;
  double counts_per_s() const noexcept { return speed_; }

 private:
  void channel_edge(bool a, bool b, Time at) noexcept;
  void settle_index(Time before) noexcept;

  bool a_ = false, b_ = false;
  std::int64_t count_ = 0;
  double edge_position_ = 0.0;  // 0 or 1: which end of the present count the last edge was
  Time edge_at_{};
  bool moved_ = false;              // an edge was seen, so the two below are exact
  std::int64_t last_boundary_ = 0;  // position of the edge the speed was last taken at
  Time last_at_{};
  double speed_ = 0.0;
  bool z_waits_ = false, indexed_ = false;
  Time z_at_{};
  std::int64_t index_count_ = 0;
};

}  // namespace stillrotor::io::standin
