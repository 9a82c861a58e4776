// Quantities as people write them ("12 mohm", "300 rpm", "1/20") to SI and back.
// The unit system is our own: radian and turn are base units beside m, kg, s, A and K, so a
// frequency can never pass for a rotational speed. Where the trade mixes turns and radians
// (rpm and rad/s), the family lists both forms with their factor.
// Source  SI Brochure, 9th edition, tables 1, 4 and 8; prefixes table 7.
#pragma once

#include <string>
#include <string_view>

namespace stillrotor {

enum class Family : unsigned char {
  ratio,  // no dimension: 0.05, 5 %, 1/20
  resistance,
  inductance,
  capacitance,
  voltage,
  current,
  current_slope,
  charge,
  flux_linkage,
  angle,
  rotational_speed,
  speed_constant,
  frequency,
  frequency_slope,
  slew,  // of a ratio: 1/s
  time,
  torque,
  inertia,
  viscous_friction,
  mass,
  length,
  gain,
  temperature,  // an absolute one: degC, K; SI: K
  per_kelvin,   // a share for each kelvin
  voltage_slew,
  per_kelvin_squared,
  quadratic_drag,
  torsional_stiffness,
  speed,
  area,
  density,
  power,
  thermal_resistance,
  heat_capacity,
  energy,
};

/// "a resistance"
std::string_view name(Family) noexcept;
/// "ohm"; empty for a ratio
std::string_view si_unit(Family) noexcept;
/// What a user may write: "ohm, mohm"
std::string_view examples(Family) noexcept;

struct Conversion {
  double si = 0.0;
  std::string problem;  // empty: it worked; else a sentence without place and full stop
  explicit operator bool() const noexcept { return problem.empty(); }
};

/// "12 mohm" -> 0.012. A missing, unknown or foreign unit is a problem, and so are inf and nan.
Conversion to_si(std::string_view text, Family);
/// The same for a unit given by text, as a measure states it ("A", "N m", "1").
Conversion to_unit(std::string_view text, std::string_view unit);
/// In whatever family the unit belongs to; `unit` gets that family's SI unit.
Conversion to_any(std::string_view text, std::string& unit);
/// 0.012 -> "0.012 ohm", with every digit it takes to read the same number back.
std::string from_si(double, Family);
/// The same for reading: ten digits at most.
std::string shown_si(double, Family);

}  // namespace stillrotor
