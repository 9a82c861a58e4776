// Settings out of range are refused with a sentence that helps.
#include <gmock/gmock.h>

#include <functional>
#include <limits>

#include "io/standin/standin.hpp"

namespace stillrotor::io {
namespace {

using ::testing::HasSubstr;

template <class Config>
struct Wrong {
  std::string path;
  std::string shown;
  std::function<void(Config&)> spoil;
};

template <class Config, class Make>
void expect_refused(const std::vector<Wrong<Config>>& cases, Make make) {
  EXPECT_NO_THROW(make(Config{}));
  for (const auto& c : cases) {
    Config config;
    c.spoil(config);
    try {
      make(config);
      ADD_FAILURE() << c.path << " accepted";
    } catch (const ConfigError& e) {
      EXPECT_EQ(e.path, c.path);
      EXPECT_THAT(e.what(), HasSubstr(c.shown));
      EXPECT_THAT(e.what(), HasSubstr("allowed"));
    }
  }
}

TEST(SixStepSettings, OutOfRangeAreRefusedByNameAndValue) {
  expect_refused<SixStepConfig>(
      {{"controller.pwm_frequency", "0 Hz", [](auto& c) { c.pwm_frequency_Hz = 0.0; }},
       {"controller.pwm_frequency", "nan Hz",
        [](auto& c) { c.pwm_frequency_Hz = std::numeric_limits<double>::quiet_NaN(); }},
       {"controller.dead_time", "7e-06 s", [](auto& c) { c.dead_time_s = 7e-6; }},
       {"controller.dead_time", "-1e-06 s", [](auto& c) { c.dead_time_s = -1e-6; }},
       {"controller.current_limit", "0 A", [](auto& c) { c.current_limit_A = 0.0; }},
       {"controller.duty_ramp", "-1 1/s", [](auto& c) { c.duty_ramp_per_s = -1.0; }},
       {"controller.belief.hall_spacing", "90 deg", [](auto& c) { c.hall_spacing_deg = 90.0; }},
       {"controller.belief.hall_permutation", "6", [](auto& c) { c.hall_permutation = 6; }},
       {"controller.throttle_zero", "4.2 V", [](auto& c) { c.scaling.throttle_zero_V = 4.2; }},
       {"controller.throttle_low_fault", "1 V",
        [](auto& c) { c.scaling.throttle_low_fault_V = 1.0; }},
       {"controller.throttle_high_fault", "3.9 V",
        [](auto& c) { c.scaling.throttle_high_fault_V = 3.9; }},
       {"controller.belief.bus_ratio", "0", [](auto& c) { c.scaling.bus_ratio = 0.0; }}},
      make_six_step);
}

TEST(FieldOrientedSettings, OutOfRangeAreRefusedByNameAndValue) {
  expect_refused<FieldOrientedConfig>(
      {{"controller.belief.pole_pairs", "0", [](auto& c) { c.pole_pairs = 0; }},
       {"controller.belief.encoder_lines", "0", [](auto& c) { c.encoder_lines = 0; }},
       {"controller.current_loop", "2000 Hz", [](auto& c) { c.current_loop_Hz = 2000.0; }},
       {"controller.regen_limit", "61 A", [](auto& c) { c.regen_limit_A = 61.0; }},
       {"controller.belief.flux_linkage", "0 Wb", [](auto& c) { c.flux_linkage_Wb = 0.0; }},
       {"controller.belief.winding_resistance", "-0.05 ohm",
        [](auto& c) { c.winding_resistance_ohm = -0.05; }},
       {"controller.belief.inductance_d", "0 H", [](auto& c) { c.inductance_d_H = 0.0; }}},
      make_field_oriented);
}

TEST(VoltsPerHertzSettings, OutOfRangeAreRefusedByNameAndValue) {
  expect_refused<VoltsPerHertzConfig>(
      {{"controller.base_frequency", "0 Hz", [](auto& c) { c.base_frequency_Hz = 0.0; }},
       {"controller.base_voltage", "-28 V", [](auto& c) { c.base_voltage_V = -28.0; }},
       {"controller.boost_voltage", "30 V", [](auto& c) { c.boost_voltage_V = 30.0; }},
       {"controller.top_frequency", "2000 Hz", [](auto& c) { c.top_frequency_Hz = 2000.0; }},
       {"controller.acceleration_ramp", "0 Hz/s", [](auto& c) { c.acceleration_Hz_per_s = 0.0; }},
       {"controller.deceleration_ramp", "nan Hz/s",
        [](auto& c) { c.deceleration_Hz_per_s = std::numeric_limits<double>::quiet_NaN(); }},
       {"controller.current_limit", "0 A", [](auto& c) { c.current_limit_A = 0.0; }}},
      make_volts_per_hertz);
}

}  // namespace
}  // namespace stillrotor::io
