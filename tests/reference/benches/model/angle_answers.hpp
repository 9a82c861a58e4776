// The absolute angle sensor a second time, from the words of plant/sensors/absolute_angle.hpp and
// angle_frame.hpp: what the controller's clock has done is looked through from the beginning of a
// frame, and the check codes are long divisions and counts of ones.
#pragma once

#include <limits>
#include <vector>

#include "tests/reference/benches/model/connector.hpp"

namespace stillrotor::reference {

class AngleAnswers {
 public:
  struct Shaft {
    double theta_m, omega_m;
  };
  /// decided_rad: of the mechanical angle, see TurningLines.
  AngleAnswers(const plant::DriveParameters&, const Shaft&, double decided_rad, Shown&);

  /// When the angle is next taken by itself (pwm).
  std::int64_t takes_at_ps() const { return takes_ps_; }
  void take(const Shaft&, Shown&);
  /// What time alone moves, up to this moment and at it.
  void pass(std::int64_t until_ps, Shown&);
  void clock(bool high, const Shaft&, std::int64_t now_ps, Shown&);
  void select(bool, const Shaft&, std::int64_t now_ps, Shown&);
  void stick(bool, const Shaft&, std::int64_t now_ps, Shown&);
  bool level() const { return level_; }

  bool error = false, all_bits_wrong = false;

 private:
  using Bits = std::vector<bool>;
  std::uint32_t code(const Shaft&, std::int64_t now_ps, Shown&) const;
  Bits frame(const Shaft&, std::int64_t now_ps, Shown&) const;
  void move(bool level, std::int64_t at_ps, Shown&);
  void send_later(bool level, std::int64_t now_ps);

  static constexpr std::int64_t never = std::numeric_limits<std::int64_t>::max();
  plant::AbsoluteAngleParameters p_;
  std::uint64_t seed_;
  double decided_rad_;
  std::int64_t delay_ps_, monoflop_ps_, period_ps_;
  std::int64_t takes_ps_ = never, falls_ps_ = never;  // pwm
  bool level_ = false, clock_ = false, selected_ = false, framed_ = false;
  bool coming_ = false;  // at comes_ps_
  std::int64_t comes_ps_ = never, idle_ps_ = never;
  int rises_ = 0;  // of the clock in this frame
  Bits bits_, next_bits_;
  bool stuck_ = false;
  std::uint32_t stuck_code_ = 0;
};

}  // namespace stillrotor::reference
