// A command pulse as firmware measures it: each width within a tick of the timer.
#include <gtest/gtest.h>

#include <cstdlib>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::microseconds;
using std::chrono::milliseconds;

constexpr std::int64_t ps_per_tick = 8 * ps_per_cycle;

struct Way {
  const char* name;
  const char* pin;
  const char* part = "atmega328p";
};

class PulseWidth : public ::testing::TestWithParam<Way> {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// Widths that are no whole ticks, begun at no whole cycle. By hand: each edge is counted down to
// its tick, and seen a cycle, an eighth of a tick, earlier or later.
TEST_P(PulseWidth, IsMeasuredWithinATickOfTheTimer) {
  McuConfig config;
  config.firmware = firmware_file(std::string("test_") + GetParam().name);
  config.part = GetParam().part;
  config.line_pins[index(line::command_pulse)] = GetParam().pin;
  Chip chip(config);
  chip.power(5.0);
  const auto edge = [&](Time at, Level level) {
    chip.run(at);
    chip.wires[index(line::command_pulse)] = level;
    chip.controller->deliver({at, line::command_pulse, level});
  };
  const std::vector<Time> widths{milliseconds(1), Time{1'234'567'891}, microseconds(1500),
                                 Time{1'999'999'999}, milliseconds(2)};
  Time at{2'500'123'457};
  for (const Time width : widths) {
    edge(at, Level::high);
    edge(at + width, Level::low);
    at += milliseconds(5);
  }
  chip.run(at);
  ASSERT_EQ(chip.controller->health(), Health::running) << chip.controller->diagnosis();
  ASSERT_EQ(chip.said.size(), widths.size());
  for (std::size_t k = 0; k < widths.size(); ++k) {
    const double ticks = static_cast<double>(widths[k].count()) / ps_per_tick;
    EXPECT_NEAR(std::atof(chip.said[k].second.c_str()), ticks, 1.25) << k;
  }
}

INSTANTIATE_TEST_SUITE_P(By, PulseWidth,
                         ::testing::Values(Way{"pulse_width_int0", "PD2"},
                                           Way{"pulse_width_pin_change", "PD2"},
                                           Way{"pulse_width_capture", "PB0"},
                                           Way{"pulse_width_quiet_capture", "PB0"},
                                           Way{"atmega8_pulse_width_int0", "PD2", "atmega8"},
                                           Way{"atmega8_pulse_width_capture", "PB0", "atmega8"}),
                         [](const auto& one) { return std::string(one.param.name); });

// The edge itself stores the count: 2.5 to 3.5 cycles after it (section Input Capture Unit: the
// same synchroniser and edge detector as of pin T1), with the noise canceler four more. Timer 1
// runs from clock / 8, so a count is told when its tick of 8 cycles has been. An interrupt's
// latency plays no part: the firmware's first pulse is measured as well as one that comes while it
// speaks.
TEST(InputCapture, DoesNotWaitForTheFirmware) {
  REQUIRE_FIRMWARE();
  McuConfig config;
  config.firmware = firmware_file("test_pulse_width_capture");
  config.line_pins[index(line::command_pulse)] = "PB0";
  Chip chip(config);
  chip.power(5.0);
  // Each width of whole ticks from a cycle in the middle of one: exactly so many ticks.
  Time at = at_cycle(40'004);
  const std::vector<std::int64_t> ticks{2000, 2001, 3000, 64};
  for (const std::int64_t width : ticks) {
    for (const auto& [when, level] :
         {std::pair{at, Level::high}, std::pair{at + at_cycle(8 * width), Level::low}}) {
      chip.run(when);
      chip.wires[index(line::command_pulse)] = level;
      chip.controller->deliver({when, line::command_pulse, level});
    }
    at += at_cycle(80'000);
  }
  chip.run(at);
  ASSERT_EQ(chip.said.size(), ticks.size());
  for (std::size_t k = 0; k < ticks.size(); ++k)
    EXPECT_EQ(std::atoll(chip.said[k].second.c_str()), ticks[k]) << k;
}

// Shorter than four cycles: the canceler does not let it through, without it it does.
TEST(InputCapture, TheNoiseCancelerDropsASpike) {
  REQUIRE_FIRMWARE();
  for (const bool cancels : {true, false}) {
    McuConfig config;
    config.firmware =
        firmware_file(cancels ? "test_pulse_width_quiet_capture" : "test_pulse_width_capture");
    config.line_pins[index(line::command_pulse)] = "PB0";
    Chip chip(config);
    chip.power(5.0);
    for (const auto& [cycle, level] :
         {std::pair{40'000, Level::high}, std::pair{40'003, Level::low},
          std::pair{80'000, Level::high}, std::pair{96'000, Level::low}}) {
      chip.run_cycles(cycle);
      chip.wire(line::command_pulse, level);
    }
    chip.run_cycles(160'000);
    ASSERT_FALSE(chip.said.empty());
    // Without it the spike's rise is the first edge, and the fall that ends the pulse the next one
    // that the firmware has armed itself for.
    EXPECT_EQ(std::atoi(chip.said[0].second.c_str()), cancels ? 2000 : 7000);
  }
}

}  // namespace
}  // namespace stillrotor::io::test
