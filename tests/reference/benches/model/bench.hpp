// A whole bench by lot: a drive with every kind of sensor, heat paths, and what happens to them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// What happens at a sensor, at a body of the heat paths or at the dynamometer.
struct Happening {
  enum class Kind {
    hall_shift,      // which: leg; value: rad
    hall_carrier,    // value: rad
    encoder_dirt,    // value: share
    encoder_slip,    // which: counts
    sin_cos_shift,   // which: channel; value: rad
    angle_stuck,     // on
    angle_error,     // on
    angle_bits,      // on: every bit arrives wrong
    angle_clock,     // on: high
    angle_selected,  // on
    body,            // which: plant::TemperatureNode; value: deg C
    ambient,         // value: K
    held_ramp        // value: rad/s; rate: rad/s^2
  };
  std::int64_t at_ps = 0;
  Kind kind = Kind::hall_shift;
  int which = 0;
  bool on = false;
  double value = 0.0, rate = 0.0;
};

/// Both sides read nothing else. drive.sample_ps: when everything is read.
struct Bench {
  Experiment drive;
  std::vector<Happening> happenings;  // in the order of time
};

/// What comes when: gates, changes of the drive, happenings, readings. Of one instant in the order
/// of What.
struct Moment {
  enum class What { gate, change, happening, reading };
  std::int64_t at_ps = 0;
  What what = What::gate;
  std::size_t index = 0;  // in its own list
};
std::vector<Moment> moments(const Bench&);

/// The same seed gives the same bench on every machine.
Bench drawn_bench(std::uint64_t seed, double step_max_s);
/// With what the reference has not: gate drivers, flux maps, batteries that run down, dry friction.
Bench drawn_beyond_reference(std::uint64_t seed, double step_max_s);
std::string told(const Bench&);

}  // namespace stillrotor::reference
