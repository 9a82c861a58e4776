// The analog comparator, by the datasheet's words and by counting cycles.
#include <gmock/gmock.h>

#include <cmath>
#include <cstdlib>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

constexpr ChannelId plus = channel::star_point, minus = channel::phase_voltage_U,
                    other = channel::phase_voltage_V;
constexpr double half_V = 2.5;

McuConfig wiring(const std::string& firmware) {
  McuConfig config = usual_wiring("comparator_" + firmware);
  config.line_pins[index(line::gate_UH)] = "";  // its pin is AIN0
  config.adc_pins[index(plus)] = "AIN0";
  config.adc_pins[index(minus)] = "AIN1";
  config.adc_pins[index(other)] = "ADC7";
  config.adc_pins[index(channel::throttle)] = "ADC3";
  return config;
}

class ComparatorTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

struct Compared : Chip {
  explicit Compared(const std::string& firmware) : Chip(wiring(firmware)) {
    voltage = [this](ChannelId id, Time at) {
      if (id == plus) return at >= crossing_at && at < back_at ? 3.0 : 2.0;
      if (id == minus) return half_V;
      return 0.0;
    };
  }
  Time crossing_at{}, back_at = Time::max();
};

// The crossing is taken over by the second clock edge from it on; out of idle sleep the handler is
// entered 4 + 4 cycles later (datasheet, Interrupt Response Time), its jump takes 2 and SBI 2. So
// the pin rises 12 cycles after that edge, wherever within a cycle the crossing lies.
TEST_F(ComparatorTest, InterruptsAtTheCycleOfTheCrossing) {
  constexpr std::int64_t latency = 4 + 4 + 2 + 2;
  for (const std::int64_t cycle : {10'000, 10'001, 10'002, 10'003})
    for (const std::int64_t after_ps : {std::int64_t{1}, ps_per_cycle / 2, ps_per_cycle}) {
      Compared chip("rising");
      chip.crossing_at = at_cycle(cycle) + Time(after_ps);
      chip.power(5.0);
      chip.run_cycles(20'000);
      EXPECT_THAT(chip.rises(line::gate_VL), ElementsAre(cycle + 1 + 1 + latency))
          << cycle << " + " << after_ps << " ps";
    }
}

TEST_F(ComparatorTest, InterruptsOnTheEdgesThatAcisAsksFor) {
  struct Sense {
    const char* firmware;
    bool rising, falling;
  };
  for (const Sense& sense :
       {Sense{"toggle", true, true}, Sense{"falling", false, true}, Sense{"rising", true, false}}) {
    Compared chip(sense.firmware);
    chip.crossing_at = at_cycle(10'000);
    chip.back_at = at_cycle(12'000);
    chip.power(5.0);
    chip.run_cycles(11'000);
    EXPECT_EQ(chip.rises(line::gate_VL).size(), sense.rising ? 1U : 0U) << sense.firmware;
    chip.run_cycles(20'000);
    EXPECT_EQ(chip.rises(line::gate_VL).size(),
              (sense.rising ? 1U : 0U) + (sense.falling ? 1U : 0U))
        << sense.firmware;
  }
}

// Six cycles a turn; from the IN's cycle to the end of OUT are four. The IN that begins at the next
// clock edge sees the crossing.
TEST_F(ComparatorTest, ItsOutputIsReadWithinTheLoop) {
  Compared chip("poll");
  chip.crossing_at = at_cycle(10'000) + Time(1);
  chip.back_at = at_cycle(15'000) + Time(1);
  chip.power(5.0);
  chip.run_cycles(20'000);
  ASSERT_EQ(chip.rises(line::gate_VL).size(), 1U);
  ASSERT_EQ(chip.falls(line::gate_VL).size(), 1U);
  const std::int64_t up = chip.rises(line::gate_VL)[0] - 10'000,
                     down = chip.falls(line::gate_VL)[0] - 15'000;
  for (const std::int64_t delay : {up, down}) {
    EXPECT_GE(delay, 1 + 4);
    EXPECT_LT(delay, 1 + 4 + 6);
  }
}

// The same edges however far the world can look at a time: nothing is sampled.
TEST_F(ComparatorTest, TheLookAheadLeavesNoTrace) {
  std::vector<std::int64_t> found;
  for (const std::int64_t look_ahead_us : {3, 50, 700}) {
    Compared chip("toggle");
    chip.look_ahead = std::chrono::microseconds(look_ahead_us);
    chip.crossing_at = at_cycle(9'876) + Time(12'345);
    chip.power(5.0);
    chip.run_cycles(20'000);
    ASSERT_EQ(chip.rises(line::gate_VL).size(), 1U);
    found.push_back(chip.rises(line::gate_VL)[0]);
  }
  EXPECT_EQ(found[0], found[1]);
  EXPECT_EQ(found[0], found[2]);
}

// ADC7 lies at 0 V, below the 2 V of AIN0 from the start; AIN1 at 2.5 V, above it.
TEST_F(ComparatorTest, TheMultiplexerTakesThePlaceOfAin1UnlessTheConverterIsOn) {
  for (const auto& [firmware, high] :
       {std::pair{"poll", false}, {"poll_mux", true}, {"poll_mux_adc_on", false}}) {
    Compared chip(firmware);
    chip.crossing_at = Time::max();
    chip.power(5.0);
    chip.run_cycles(2'000);
    EXPECT_EQ(chip.last(line::gate_VL), high ? Level::high : Level::low) << firmware;
  }
}

// 1.1 V against AIN1.
TEST_F(ComparatorTest, TheReferenceTakesThePlaceOfAin0) {
  Compared chip("poll_reference");
  double level_V = 1.05;
  chip.voltage = [&](ChannelId id, Time) { return id == minus ? level_V : 5.0; };
  chip.power(5.0);
  chip.run_cycles(2'000);
  EXPECT_EQ(chip.last(line::gate_VL), Level::high);
  level_V = 1.15;
  chip.run_cycles(4'000);
  EXPECT_EQ(chip.last(line::gate_VL), Level::low);
}

// A gate that the firmware itself moves shifts the voltages at once: it sees its own edge.
TEST_F(ComparatorTest, SeesWhatItsOwnEdgesDo) {
  Compared chip("rising");
  chip.voltage = [&](ChannelId id, Time) {
    if (id == minus) return half_V;
    return id == plus && chip.last(line::gate_VL) != Level::high ? 2.0 : 3.0;
  };
  // The first push comes from outside.
  chip.crossing_at = at_cycle(10'000);
  const auto by_gate = chip.voltage;
  chip.voltage = [&, by_gate](ChannelId id, Time at) {
    if (id == plus && at >= at_cycle(10'000) && at < at_cycle(10'004)) return 3.0;
    return by_gate(id, at);
  };
  chip.power(5.0);
  chip.run_cycles(12'000);
  // Push at 10000, taken over at 10001, PD4 high from 10013 to 10015: that lifts the input again,
  // seen from 10014 on. RETI ends at 10019, one instruction of the main program follows (the RJMP,
  // to 10021), then 4 cycles of entry, 2 and 2.
  const auto rises = chip.rises(line::gate_VL);
  ASSERT_GE(rises.size(), 2U);
  EXPECT_EQ(rises[0], 10'013);
  EXPECT_EQ(rises[1], 10'029);
}

TEST_F(ComparatorTest, TheFlagWaitsAndGoesWithAOne) {
  Compared chip("flags");
  chip.crossing_at = at_cycle(2'000);
  chip.power(5.0);
  chip.run_cycles(8'000);
  EXPECT_EQ(chip.rises(line::gate_VL).size(), 1U);
  EXPECT_EQ(chip.last(line::gate_VL), Level::low);
}

TEST_F(ComparatorTest, RaisesNoFlagWithoutACrossingOrSwitchedOff) {
  Compared still("flags");
  still.crossing_at = Time::max();
  still.power(5.0);
  still.run_cycles(8'000);
  EXPECT_THAT(still.rises(line::gate_VL), IsEmpty());
  Compared off("flags_off");
  off.crossing_at = at_cycle(2'000);
  off.power(5.0);
  off.run_cycles(8'000);
  EXPECT_THAT(off.rises(line::gate_VL), IsEmpty());
  EXPECT_EQ(off.crossings_asked, 0);
}

// A pulse between two looks: kept where the firmware awaits the flag, by having cleared it.
TEST_F(ComparatorTest, AwaitsTheFlagOnceItHasBeenCleared) {
  for (const auto& [firmware, kept] : {std::pair{"flags", false}, {"flags_cleared", true}}) {
    Compared chip(firmware);
    chip.crossing_at = at_cycle(2'000);
    chip.back_at = at_cycle(2'100);
    chip.power(5.0);
    chip.run_cycles(8'000);
    EXPECT_EQ(chip.rises(line::gate_VL).size(), kept ? 1U : 0U) << firmware;
  }
}

// Equal inputs differ by rounding errors, anew each cycle. A hundredth of the band beyond its half
// is a crossing.
TEST_F(ComparatorTest, KeepsItsAnswerWhileItsInputsAreEqual) {
  const double band_V = McuConfig{}.comparator_hysteresis_V;
  for (const auto& [wander_V, flips] :
       {std::pair{1e-12, false}, {0.49 * band_V, false}, {0.51 * band_V, true}})
    for (const char* firmware : {"toggle", "poll"}) {
      Compared chip(firmware);
      chip.voltage = [wander_V = wander_V](ChannelId id, Time at) {
        return half_V + (id == plus ? (cycles(at) / 7 % 2 == 0 ? wander_V : -wander_V) : 0.0);
      };
      chip.power(5.0);
      chip.run_cycles(4'000);
      EXPECT_EQ(chip.rises(line::gate_VL).size() > 10, flips) << firmware << ' ' << wander_V;
    }
}

TEST_F(ComparatorTest, RefusesABandOfNoneOrAWideOne) {
  for (const double band_V : {0.0, -1e-3, 60e-3, std::nan("")}) {
    McuConfig config = wiring("poll");
    config.comparator_hysteresis_V = band_V;
    EXPECT_THROW(make_mcu(config), ConfigError) << band_V;
  }
}

// 10 ms. A converter's sample costs one question, a look at the output two, one for each input, and
// none about the future. Standing voltages and an awaited flag: one question for each stretch of 50
// us that the world lets it run, a few for the first edges.
TEST_F(ComparatorTest, AsksOfTheFutureOnlyForAnAwaitedFlag) {
  struct Cost {
    const char* firmware;
    int looks, future;
  };
  for (const Cost& cost :
       {Cost{"port_loop", 0, 0}, Cost{"comparator_poll_16kHz", 160, 0},
        Cost{"comparator_poll", 160'000 / 6, 0}, Cost{"comparator_toggle", 0, 200}}) {
    McuConfig config = wiring("poll");
    config.firmware = firmware_file(std::string("test_") + cost.firmware);
    Chip chip(config);
    chip.power(5.0);
    chip.run_cycles(160'000);
    EXPECT_NEAR(static_cast<double>(chip.asked.size()), 2.0 * cost.looks, 24.0) << cost.firmware;
    EXPECT_NEAR(chip.crossings_asked, cost.future, 10) << cost.firmware;
  }
}

// The comparator in the place of the capture pin: the pulses of pulse_test.cpp as voltages. Whole
// ticks of 8 cycles from a cycle in the middle of one come out exactly, others within one.
TEST_F(ComparatorTest, ItsEdgesAreStoredByTheInputCapture) {
  for (const std::int64_t look_ahead_us : {7, 50}) {
    McuConfig config = wiring("poll");
    config.firmware = firmware_file("test_pulse_width_comparator");
    Chip chip(config);
    chip.look_ahead = std::chrono::microseconds(look_ahead_us);
    const std::vector<Time> widths{at_cycle(8 * 2000), at_cycle(8 * 2001), at_cycle(8 * 64),
                                   Time{1'234'567'891}, Time{999'999'999}};
    chip.voltage = [&](ChannelId id, Time at) {
      if (id == minus) return half_V;
      for (std::size_t k = 0; k < widths.size(); ++k) {
        const Time from = at_cycle(40'004 + 80'000 * static_cast<std::int64_t>(k));
        if (id == plus && at >= from && at < from + widths[k]) return 3.0;
      }
      return 2.0;
    };
    chip.power(5.0);
    chip.run_cycles(480'000);
    ASSERT_EQ(chip.controller->health(), Health::running) << chip.controller->diagnosis();
    ASSERT_EQ(chip.said.size(), widths.size());
    for (std::size_t k = 0; k < widths.size(); ++k)
      EXPECT_NEAR(std::atof(chip.said[k].second.c_str()),
                  static_cast<double>(widths[k].count()) / (8 * ps_per_cycle), k < 3 ? 0.0 : 1.25)
          << k;
  }
}

// Three cycles are too short for the noise canceler's four. The pin itself is disconnected.
TEST_F(ComparatorTest, TheNoiseCancelerDropsItsSpikesAndTheCapturePinIsDeaf) {
  for (const bool cancels : {true, false}) {
    McuConfig config = wiring("poll");
    config.firmware = firmware_file(cancels ? "test_pulse_width_quiet_comparator"
                                            : "test_pulse_width_comparator");
    config.line_pins[index(line::gate_WL)] = "";
    config.line_pins[index(line::command_pulse)] = "PB0";
    Chip chip(config);
    chip.voltage = [&](ChannelId id, Time at) {
      const std::int64_t cycle = cycles(at);
      const bool high = (cycle >= 40'000 && cycle < 40'003) || (cycle >= 80'000 && cycle < 96'000);
      return id == minus ? half_V : id == plus && high ? 3.0 : 2.0;
    };
    chip.power(5.0);
    for (const auto& [cycle, level] : {std::pair{20'000, Level::high},
                                       {21'000, Level::low},
                                       {84'000, Level::high},
                                       {90'000, Level::low}}) {
      chip.run_cycles(cycle);
      chip.wire(line::command_pulse, level);
    }
    chip.run_cycles(160'000);
    ASSERT_FALSE(chip.said.empty());
    EXPECT_EQ(std::atoi(chip.said[0].second.c_str()), cancels ? 2000 : 7000);
  }
}

}  // namespace
}  // namespace stillrotor::io::test
