// Halls and encoder a second time: each line a ladder of angles that a rotor climbs and descends.
//   ladder     Rung m lies at an angle; the sensor stands between rungs s and s + 1 and goes up at
//              rung s + 1 plus half the hysteresis, down at rung s less it.
//   Hall       Rungs half a turn apart, rising ones even; each displaced by its jitter.
//   encoder    Rungs a count apart; what a count shows follows from its place in the turn.
// Times are roots of a given angle on its monotone parts. Source: plant/sensors/sensors.hpp's and
// position.hpp's words. What is random (jitter, dirt) is the plant's own; its spread is checked by
// itself.
#pragma once

#include <functional>

#include "tests/reference/benches/model/connector.hpp"

namespace stillrotor::reference {

class TurningLines {
 public:
  struct Motion {
    double theta_e, omega_e;  // not wrapped
  };
  /// At a moment t [s] after since_ps.
  struct Way {
    std::int64_t since_ps;
    std::function<Motion(double t)> at;
  };
  /// Nearer than this to a rung [rad], rounding decides what a rotor sees that turns back there.
  TurningLines(const plant::DriveParameters&, double theta_e, double decided_rad);

  void turn(const Way&, double from_s, double to_s, Shown&);
  /// Faults have changed (below): what changes by it comes at once.
  void look(const Motion&, std::int64_t at_ps, Shown&);
  std::uint8_t levels() const { return levels_; }

  double hall_shift_rad[3] = {}, hall_carrier_rad = 0.0, dirty_share = 0.0;
  std::int64_t slip = 0;

 private:
  static constexpr int encoder = 3;  // of the ladders; 0 to 2: Halls
  bool fitted(int ladder) const;
  double rung(int ladder, std::int64_t m) const;
  double lag() const { return 0.5 * p_.hall.hysteresis_rad; }
  double up_at(int ladder) const;
  double down_at(int ladder) const;
  std::uint8_t encoder_levels() const;
  void climb(const Way&, double from_s, double to_s, Shown&);
  void step(int ladder, bool up, double rung_rad, const LineEdge& at, Shown&);
  void show(int line, bool high, const LineEdge& at, Shown&);
  void judge(double theta_e, Shown&) const;

  plant::DriveParameters p_;
  double decided_rad_, latest_rad_ = 1e300;  // latest rung that was passed
  std::int64_t stands_[4] = {};
  std::uint8_t levels_ = 0;
};

}  // namespace stillrotor::reference
