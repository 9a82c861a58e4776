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
};

class PulseWidth : public ::testing::TestWithParam<Way> {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// Widths that are no whole ticks, begun at no whole cycle. By hand: each edge is counted down to
// its tick, and seen a cycle, an eighth of a tick, earlier or later.
TEST_P(PulseWidth, IsMeasuredWithinATickOfTheTimer) {
  McuConfig config;
  config.firmware = firmware_file(std::string("test_pulse_width_") + GetParam().name);
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
                         ::testing::Values(Way{"int0", "PD2"}, Way{"pin_change", "PD2"}),
                         [](const auto& one) { return std::string(one.param.name); });

}  // namespace
}  // namespace stillrotor::io::test
