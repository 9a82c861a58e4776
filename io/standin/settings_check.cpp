#include "io/standin/settings_check.hpp"

#include <cmath>
#include <cstdio>
#include <string>

#include "io/connector.hpp"

namespace stillrotor::io::standin {
namespace {

std::string number(double value, std::string_view unit) {
  char text[40];
  std::snprintf(text, sizeof text, "%.6g", value);
  return unit.empty() ? std::string(text) : std::string(text) + " " + std::string(unit);
}

[[noreturn]] void refuse(std::string_view name, double value, std::string_view unit,
                         const std::string& allowed, std::string_view remedy) {
  throw ConfigError("controller." + std::string(name), std::string(name) + " is " +
                                                           number(value, unit) + "; allowed " +
                                                           allowed + ". " + std::string(remedy));
}

void check_modulation(double pwm_frequency_Hz, double dead_time_s, double current_limit_A) {
  require_within("pwm_frequency", pwm_frequency_Hz, {1e3, 100e3, "Hz"},
                 "Controllers of this kind run at 8 to 25 kHz.");
  require_within("dead_time", dead_time_s, {0.0, 0.1 / pwm_frequency_Hz, "s"},
                 "It may take at most a tenth of the PWM period; 0.3 to 2 us is usual.");
  require_within("current_limit", current_limit_A, {0.1, 10000.0, "A"},
                 "Give the largest phase current the bridge may carry.");
}

}  // namespace

void require_within(std::string_view name, double value, const Allowed& a,
                    std::string_view remedy) {
  if (value >= a.low && value <= a.high) return;  // a NaN does not pass
  refuse(name, value, a.unit, number(a.low, "") + " to " + number(a.high, a.unit), remedy);
}

void check(const StandinScaling& s) {
  require_within("supply", s.supply_V, {1.0, 60.0, "V"}, "3.3 V or 5 V is usual.");
  require_within("belief.current_gain", std::abs(s.current_gain_V_per_A), {1e-5, 100.0, "V/A"},
                 "The sign is free; the size is shunt times amplifier gain.");
  require_within("belief.current_offset", s.current_offset_V, {0.0, s.supply_V, "V"},
                 "Half the supply is usual.");
  require_within("belief.bus_ratio", s.bus_ratio, {1e-4, 1.0, ""},
                 "It is the voltage at the pin over the voltage of the bus.");
  if (!(s.throttle_low_fault_V >= 0.0 && s.throttle_low_fault_V < s.throttle_zero_V))
    refuse("throttle_low_fault", s.throttle_low_fault_V, "V",
           "0 V to below throttle_zero (" + number(s.throttle_zero_V, "V") + ")",
           "A throttle at rest must not count as a broken wire.");
  if (!(s.throttle_zero_V < s.throttle_full_V))
    refuse("throttle_zero", s.throttle_zero_V, "V",
           "below throttle_full (" + number(s.throttle_full_V, "V") + ")",
           "Exchange the two for a throttle that falls when opened, by a divider on the bench.");
  if (!(s.throttle_high_fault_V > s.throttle_full_V))
    refuse("throttle_high_fault", s.throttle_high_fault_V, "V",
           "above throttle_full (" + number(s.throttle_full_V, "V") + ")",
           "A throttle fully open must not count as a broken wire.");
}

void check(const SixStepConfig& c) {
  check(c.scaling);
  check_modulation(c.pwm_frequency_Hz, c.dead_time_s, c.current_limit_A);
  require_within("duty_ramp", c.duty_ramp_per_s, {1e-3, 1e6, "1/s"},
                 "1 / s takes one second from rest to full duty.");
  if (c.hall_spacing_deg != 120.0 && c.hall_spacing_deg != 60.0)
    refuse("belief.hall_spacing", c.hall_spacing_deg, "deg", "120 deg or 60 deg",
           "Almost all machines have 120 deg.");
  require_within("belief.hall_permutation", c.hall_permutation, {0, 5, ""},
                 "0 takes the lines as wired.");
}

void check(const FieldOrientedConfig& c) {
  check(c.scaling);
  check_modulation(c.pwm_frequency_Hz, c.dead_time_s, c.current_limit_A);
  require_within("regen_limit", c.regen_limit_A, {0.0, c.current_limit_A, "A"},
                 "It is part of current_limit; 0 A turns the electric brake off.");
  require_within("current_loop", c.current_loop_Hz, {1.0, c.pwm_frequency_Hz / 10.0, "Hz"},
                 "The control's own delay of 1.5 PWM periods allows a tenth of pwm_frequency.");
  require_within("torque_ramp", c.torque_ramp_A_per_s, {0.1, 1e9, "A/s"},
                 "400 A/s takes 150 ms to 60 A.");
  require_within("belief.pole_pairs", c.pole_pairs, {1, 64, ""},
                 "Count the rotor magnets and divide by two.");
  require_within(
      "belief.winding_resistance", c.winding_resistance_ohm, {1e-5, 1e3, "ohm"},
      "It is the resistance of one phase: half of what a meter shows between terminals.");
  require_within("belief.inductance_d", c.inductance_d_H, {1e-7, 1.0, "H"},
                 "It is the inductance of one phase on the magnet's axis.");
  require_within("belief.inductance_q", c.inductance_q_H, {1e-7, 1.0, "H"},
                 "It is the inductance of one phase across the magnet's axis.");
  require_within("belief.flux_linkage", c.flux_linkage_Wb, {1e-6, 10.0, "Wb"},
                 "It is the peak phase voltage over the electrical angular speed.");
  require_within("belief.encoder_lines", c.encoder_lines, {1, 100000, ""},
                 "Give lines a turn, not counts: four counts make a line.");
  require_within("belief.encoder_index", std::abs(c.encoder_index_rad), {0.0, 6.283186, "rad"},
                 "The sign is free; give a mechanical angle within one turn.");
}

void check(const VoltsPerHertzConfig& c) {
  check(c.scaling);
  check_modulation(c.pwm_frequency_Hz, c.dead_time_s, c.current_limit_A);
  require_within("base_frequency", c.base_frequency_Hz, {0.1, 10e3, "Hz"},
                 "It stands on the machine's plate; 50 Hz or 60 Hz is usual.");
  require_within("base_voltage", c.base_voltage_V, {0.1, 10e3, "V"},
                 "It stands on the machine's plate: line to line, rms, at base_frequency.");
  require_within("boost_voltage", c.boost_voltage_V, {0.0, c.base_voltage_V, "V"},
                 "2 to 10 % of base_voltage is usual; more heats a machine that stands.");
  require_within("top_frequency", c.top_frequency_Hz, {0.1, c.pwm_frequency_Hz / 10.0, "Hz"},
                 "A sine needs some ten PWM periods at least.");
  require_within("acceleration_ramp", c.acceleration_Hz_per_s, {1e-3, 1e6, "Hz/s"},
                 "25 Hz/s takes two seconds to 50 Hz.");
  require_within("deceleration_ramp", c.deceleration_Hz_per_s, {1e-3, 1e6, "Hz/s"},
                 "25 Hz/s takes two seconds from 50 Hz.");
}

}  // namespace stillrotor::io::standin
