// The electrical angle from Halls and encoder: a Hall sector's centre at first, exact at the first
// Hall edge, better still from the index on; encoder counts in between.
// RT: safe, O(1), no libm.
#pragma once

#include "io/connector.hpp"
#include "io/standin/encoder.hpp"
#include "io/standin/hall.hpp"

namespace stillrotor::io::standin {

class RotorAngle {
 public:
  enum class Known : std::uint8_t { nothing, sector, hall_edge, index };

  RotorAngle(int pole_pairs, int encoder_lines, double index_rad) noexcept;

  /// Levels by line number of the connector, read at power-up.
  void reset(const std::array<bool, line_count>& levels, bool has_hall, Time) noexcept;
  void edge(const Edge&) noexcept;
  /// Once a control period, before the questions below.
  void update(Time now) noexcept;

  Known known() const noexcept { return known_; }
  bool hall_invalid() const noexcept { return has_hall_ && sector_ == no_sector; }
  /// A Hall edge lay more than 45 electrical degrees from where the encoder had it: one of the two,
  /// or a setting (pole pairs, lines, index), is wrong.
  bool disagrees() const noexcept { return disagrees_; }
  int hall_code() const noexcept { return hall_; }  // U + 2 V + 4 W

  /// 0 to 2 pi.
  double theta_e_rad(Time now) const noexcept;
  double omega_e_rad_s() const noexcept { return speed_to_omega_ * encoder_.counts_per_s(); }

  /// The rotor is known to stand at this electrical angle now (it was pulled there).
  void is_at(double theta_e_rad, Time now) noexcept;

 private:
  void take_sector(Time) noexcept;
  void compare(double border_rad, Time) noexcept;
  void refer(double theta_e_rad, Time) noexcept;

  int pole_pairs_;
  std::int64_t counts_a_turn_;
  double rad_per_count_, speed_to_omega_, index_theta_e_rad_;
  Encoder encoder_;
  bool has_hall_ = false, disagrees_ = false;
  int hall_ = 0, sector_ = no_sector;
  Known known_ = Known::nothing;
  std::int64_t reference_count_ = 0;  // its lower end ...
  double reference_rad_ = 0.0;        // ... lies at this electrical angle
};

}  // namespace stillrotor::io::standin
