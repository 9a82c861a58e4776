// From volts at the wire to a converter's code, and back: the part's own numbers, the amplifier
// beside it, and what a meter said about both.
//   code = (V_part / range) 2^bits,   V_wire = scale V_part + shift,   calibration on top
// Units V.  RT: safe but for the constructors; O(points).
#pragma once

#include <cstdint>

#include "io/analog/config.hpp"

namespace stillrotor::io {

/// Straight between the points, and on beyond the ends. Points: none or two and more, both columns
/// rising (checked by check(AnalogConfig)).
double true_from_shown(const CalibrationPoints&, double shown_V) noexcept;
double shown_from_true(const CalibrationPoints&, double true_V) noexcept;

class OutputScale {
 public:
  OutputScale(const SpiDacConfig&, const AnalogOutput&);

  struct Code {
    std::uint32_t value = 0;
    bool clamped = false;  // not what was asked for, but the nearest that is allowed
  };
  /// The nearest code. Not a number: the safe level, clamped.
  Code code(double wire_V) const noexcept;
  double wire_V(std::uint32_t code) const noexcept;
  /// What the limits and the part's range leave.
  double least_V() const noexcept { return least_V_; }
  double most_V() const noexcept { return most_V_; }
  double step_V() const noexcept;

 private:
  AnalogOutput output_;
  double codes_per_V_;  // of the part
  double most_code_;
  double least_V_, most_V_;
};

class InputScale {
 public:
  /// volts_per_count: of the part, its offset: counts added before.
  InputScale(const AnalogInput&, double volts_per_count, double offset_counts = 0.0);
  double wire_V(double counts) const noexcept;
  double step_V() const noexcept;

 private:
  AnalogInput input_;
  double volts_per_count_, offset_counts_;
};

}  // namespace stillrotor::io
