// Hall switches and incremental encoder: which edge comes next, and where.
// Angles are electrical, on the scale of theta_e in the current electrical turn; the caller shifts
// the thresholds by 2 pi when theta_e wraps.
// Hall line k with level high stays so while theta - (k spacing + placement) lies within
// +-(90 deg + hysteresis / 2), and with level low while it lies within that of the opposite point.
// RT: safe. O(1).
#pragma once

#include "plant/drive.hpp"

namespace stillrotor::plant {

class PositionSensors {
 public:
  PositionSensors(const HallParameters&, const EncoderParameters&, int pole_pairs,
                  std::uint64_t seed);

  /// Levels at rest at the state's angle (as if it had been reached turning forward) and
  /// thresholds.
  void start(DriveState&) const noexcept;
  /// Puts edge_ahead_rad and edge_behind_rad right for the present levels, count and turn.
  void find_thresholds(DriveState&) const noexcept;
  /// Dirt on the disc, and how far it has slipped, from now on.
  void change_encoder(DriveState&, double dirty_share, std::int64_t slip) const noexcept;
  /// The angle stands at or beyond a threshold: flips what is due first and finds new thresholds.
  SensorEdge flip(DriveState&) const noexcept;

 private:
  struct Reach {
    double ahead_rad, behind_rad;
  };
  void find_thresholds_of_halls(DriveState&) const noexcept;
  void find_thresholds_of_encoder(DriveState&, unsigned pending) const noexcept;
  unsigned encoder_pending(const DriveState&) const noexcept;
  int hall_due(const DriveState&, bool forward) const noexcept;
  Reach hall_reach(const DriveState&, int k) const noexcept;
  Reach encoder_reach(const DriveState&) const noexcept;
  double count_begins(const DriveState&, std::int64_t count) const noexcept;
  void count_anew(DriveState&) const noexcept;
  double hall_centre(const DriveState&, int k) const noexcept;
  double hall_jitter(int k, const DriveState&, double pulse, int edge) const noexcept;
  std::int64_t changed_above(const DriveState&, std::int64_t count) const noexcept;
  std::int64_t unchanged_down_to(const DriveState&, std::int64_t count) const noexcept;
  bool line_is_seen(const DriveState&, std::int64_t line) const noexcept;
  std::uint8_t encoder_levels(const DriveState&, std::int64_t count) const noexcept;

  HallParameters hall_;
  EncoderParameters encoder_;
  double pole_pairs_;
  std::uint64_t seed_;
  std::int64_t index_count_;  // of a turn, that holds index_rad
};

}  // namespace stillrotor::plant
