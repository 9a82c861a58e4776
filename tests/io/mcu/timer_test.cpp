// Timers against the datasheet (ATmega48A/PA/88A/PA/168A/PA/328/P: Timer/Counter0, 1 and 2):
// compare outputs, modes of operation, timing diagrams. Clocks 1 or 8 cycles: figures by hand
// beside each.
#include <gmock/gmock.h>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using ::testing::Each;
using ::testing::Eq;
using ::testing::IsEmpty;
using ::testing::SizeIs;

class TimerTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

/// Timer 1's outputs on gates UH (OC1A) and UL (OC1B), timer 0's and 2's on the others.
McuConfig timer_wiring(const std::string& firmware) {
  McuConfig config = usual_wiring(firmware);
  config.line_pins[index(line::gate_UH)] = "PB1";
  config.line_pins[index(line::gate_UL)] = "PB2";
  config.line_pins[index(line::gate_VH)] = "PD6";
  config.line_pins[index(line::gate_VL)] = "PD5";
  config.line_pins[index(line::gate_WH)] = "PB3";
  config.line_pins[index(line::gate_WL)] = "PD3";
  return config;
}

std::vector<std::int64_t> periods(const std::vector<std::int64_t>& flanks) {
  std::vector<std::int64_t> result;
  for (std::size_t k = 1; k < flanks.size(); ++k) result.push_back(flanks[k] - flanks[k - 1]);
  return result;
}

/// From each rise to the next fall.
std::vector<std::int64_t> widths(const Chip& chip, LineId gate) {
  std::vector<std::int64_t> result;
  const auto rises = chip.rises(gate), falls = chip.falls(gate);
  for (const auto rise : rises)
    for (const auto fall : falls)
      if (fall > rise) {
        result.push_back(fall - rise);
        break;
      }
  return result;
}

// Fast PWM, clock / 8: set at BOTTOM, cleared one timer clock after the count is OCR. OCR 63:
// 64 * 8 = 512 of 2048 cycles. OCR 0: a spike of one timer clock. OCR = TOP: constantly high.
TEST_F(TimerTest, FastPwmIsHighForOneClockMoreThanItsCompareValue) {
  Chip chip("ports_and_pwm");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  for (const auto& [gate, width] : {std::pair{line::gate_UH, 512}, std::pair{line::gate_WH, 8}}) {
    EXPECT_THAT(chip.rises(gate), SizeIs(::testing::Gt(150)));
    EXPECT_THAT(periods(chip.rises(gate)), Each(Eq(2048))) << name(gate);
    EXPECT_THAT(widths(chip, gate), Each(Eq(width))) << name(gate);
  }
}

TEST_F(TimerTest, CompareValueTopGivesHundredPercent) {
  Chip chip("ports_and_pwm");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  EXPECT_THAT(chip.rises(line::gate_VH), SizeIs(1));
  EXPECT_THAT(chip.falls(line::gate_VH), IsEmpty());
  EXPECT_EQ(chip.rises(line::gate_VH)[0], chip.rises(line::gate_UH)[0]) << "not from BOTTOM on";
}

// The loop writes ones and zeros to the PORT bits of PD6, PD5 and PB3 all the time; the widths
// above show that the outputs do not follow. PD2 beside them does: the control.
TEST_F(TimerTest, PortWritesDoNotReachPinsThatATimerDrives) {
  Chip chip("ports_and_pwm");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  EXPECT_GT(chip.rises(line::gate_UL).size(), 10000u);
  EXPECT_LT(chip.rises(line::gate_UH).size(), 160u);
}

// Both prescalers and counters were released by one write to GTCCR.
TEST_F(TimerTest, TimersReleasedTogetherRiseTogether) {
  Chip chip("ports_and_pwm");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  EXPECT_EQ(chip.rises(line::gate_UH), chip.rises(line::gate_WH));
}

TEST_F(TimerTest, ADisconnectedOutputShowsItsPortBitAtOnce) {
  for (const auto& [firmware, expected] :
       {std::pair{"com_cleared_low", false}, std::pair{"com_cleared_high", true}}) {
    Chip chip(firmware);
    chip.power(5.0);
    chip.run(std::chrono::milliseconds(2));
    ASSERT_THAT(chip.rises(line::gate_UL), SizeIs(1));
    const std::int64_t mark = chip.rises(line::gate_UL)[0];
    const auto steps = chip.steps(line::gate_UH);
    ASSERT_FALSE(steps.empty());
    if (expected) {
      EXPECT_TRUE(steps.back().high);
      EXPECT_LT(steps.back().cycle, mark) << "it moved, though PORT and output were both high";
    } else {
      EXPECT_EQ(steps.back(), (Chip::Step{mark + 1, false})) << "out follows the mark by one cycle";
    }
  }
}

// OCR is double-buffered in the PWM modes: 200 is kept to the end of the period in which 50 is
// written. (201 and 51) * 8 cycles.
TEST_F(TimerTest, ACompareValueWrittenMidPeriodIsTakenOverAtBottom) {
  Chip chip("compare_rewritten");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(2));
  ASSERT_THAT(chip.rises(line::gate_UL), SizeIs(1));
  const std::int64_t mark = chip.rises(line::gate_UL)[0];
  const auto rises = chip.rises(line::gate_UH);
  const auto high = widths(chip, line::gate_UH);
  ASSERT_GE(rises.size(), 3u);
  EXPECT_GT(mark, rises[0] + 100 * 8);
  EXPECT_LT(mark, rises[0] + 201 * 8);
  EXPECT_EQ(high[0], 201 * 8);
  EXPECT_EQ(high[1], 51 * 8);
  EXPECT_EQ(high[2], 51 * 8);
  EXPECT_THAT(periods(rises), Each(Eq(2048)));
}

// Phase correct, TOP 255, OCR 64, clock / 1: period 510, high 2 * 64 cycles when not inverted, low
// as long when inverted, and both centred on the same instant.
TEST_F(TimerTest, PhaseCorrectPwmIsSymmetricAboutBottom) {
  Chip chip(timer_wiring("wave_phase_correct_8"));
  chip.power(5.0);
  chip.run_cycles(510 * 100);
  const auto rises = chip.rises(line::gate_VH), falls = chip.falls(line::gate_VH);
  ASSERT_GT(rises.size(), 90u);
  EXPECT_THAT(periods(rises), Each(Eq(510)));
  EXPECT_THAT(periods(falls), Each(Eq(510)));
  EXPECT_THAT(widths(chip, line::gate_VH), Each(Eq(128)));
  const auto inverted_rises = chip.rises(line::gate_VL), inverted_falls = chip.falls(line::gate_VL);
  ASSERT_GT(inverted_falls.size(), 90u);
  for (const auto fall : inverted_falls)
    if (fall > rises[0]) {
      EXPECT_TRUE(std::find(rises.begin(), rises.end(), fall) != rises.end())
          << "the inverted output falls at " << fall;
    }
  EXPECT_THAT(periods(inverted_rises), Each(Eq(510)));
}

// Datasheet, Phase Correct PWM Mode: OCR = TOP is continuously high, OCR = BOTTOM continuously low.
TEST_F(TimerTest, PhaseCorrectPwmReachesBothEnds) {
  Chip chip(timer_wiring("wave_phase_correct_ends"));
  chip.power(5.0);
  chip.run_cycles(510 * 20);
  EXPECT_THAT(chip.rises(line::gate_VH), SizeIs(1));
  EXPECT_THAT(chip.falls(line::gate_VH), IsEmpty());
  EXPECT_THAT(chip.rises(line::gate_VL), IsEmpty());
}

// Timer 1 with ICR1 1000, OCR 250: 8 kHz from 16 MHz, period 2000, high 500 cycles.
TEST_F(TimerTest, PhaseCorrectPwmCountsToTheCaptureRegister) {
  Chip chip(timer_wiring("wave_phase_correct_icr"));
  chip.power(5.0);
  chip.run_cycles(2000 * 100);
  EXPECT_THAT(chip.rises(line::gate_UH), SizeIs(::testing::Gt(95)));
  EXPECT_THAT(periods(chip.rises(line::gate_UH)), Each(Eq(2000)));
  EXPECT_THAT(widths(chip, line::gate_UH), Each(Eq(500)));
  EXPECT_THAT(periods(chip.falls(line::gate_UL)), Each(Eq(2000)));
}

// OCR goes from 250 to 500 just after the second BOTTOM. Taken over at TOP (phase correct): the
// pulse that is under way ends by the old value, the next is new on both sides: 500, 500, then 1000
// wide. Taken over at the next BOTTOM (phase and frequency correct): one pulse begins by the old
// value and ends by the new one: 500, 250 + 500, 1000; it has one pulse less, since even the first
// value waits for the first BOTTOM.
TEST_F(TimerTest, PhaseModesTakeANewCompareValueOverAtTopOrAtBottom) {
  Chip at_top(timer_wiring("wave_phase_correct_more"));
  at_top.power(5.0);
  at_top.run_cycles(2000 * 10);
  const auto by_top = widths(at_top, line::gate_UH);
  ASSERT_GE(by_top.size(), 4u);
  EXPECT_EQ(by_top[0], 500);
  EXPECT_EQ(by_top[1], 500);
  EXPECT_EQ(by_top[2], 1000);
  EXPECT_EQ(by_top[3], 1000);

  Chip at_bottom(timer_wiring("wave_frequency_correct"));
  at_bottom.power(5.0);
  at_bottom.run_cycles(2000 * 10);
  const auto by_bottom = widths(at_bottom, line::gate_UH);
  ASSERT_GE(by_bottom.size(), 4u);
  EXPECT_EQ(by_bottom[0], 500);
  EXPECT_EQ(by_bottom[1], 750);
  EXPECT_EQ(by_bottom[2], 1000);
}

// OCR goes from TOP (constantly high) to 250. There is no match on the way up; datasheet, Phase
// Correct PWM Mode: the output changes at TOP nevertheless, for the symmetry about BOTTOM. From
// leaving TOP (count 999) to leaving 250 downwards: 750 cycles low, then pulses of 500.
TEST_F(TimerTest, PhaseCorrectPwmLeavesHundredPercentAtTop) {
  Chip chip(timer_wiring("wave_phase_correct_less"));
  chip.power(5.0);
  chip.run_cycles(2000 * 10);
  const auto rises = chip.rises(line::gate_UH), falls = chip.falls(line::gate_UH);
  ASSERT_GE(rises.size(), 4u);
  ASSERT_GE(falls.size(), 3u);
  EXPECT_GT(falls[0] - rises[0], 2000) << "it was not constantly high before";
  EXPECT_EQ(rises[1] - falls[0], 750);
  EXPECT_EQ(falls[1] - rises[1], 500);
  EXPECT_EQ(rises[2] - rises[1], 2000);
}

// ICR1 1999: 8 kHz; OCR 499: high 500 cycles, the inverted output low for them. The first period
// still compares with 0, since OCR was written in a PWM mode and waits for BOTTOM: 1999 for the
// inverted one.
TEST_F(TimerTest, FastPwmOfTimer1CountsToTheCaptureRegister) {
  Chip chip(timer_wiring("wave_fast_icr"));
  chip.power(5.0);
  chip.run_cycles(2000 * 100);
  EXPECT_THAT(periods(chip.rises(line::gate_UH)), Each(Eq(2000)));
  EXPECT_THAT(widths(chip, line::gate_UH), Each(Eq(500)));
  auto inverted = widths(chip, line::gate_UL);
  ASSERT_FALSE(inverted.empty());
  EXPECT_EQ(inverted.front(), 1999);
  inverted.erase(inverted.begin());
  EXPECT_THAT(inverted, Each(Eq(1500)));
  EXPECT_THAT(chip.rises(line::gate_UL), SizeIs(::testing::Gt(95)));
}

TEST_F(TimerTest, TenBitFastPwmAtItsTopIsConstantlyHigh) {
  Chip chip(timer_wiring("wave_fast_10_bit"));
  chip.power(5.0);
  chip.run_cycles(1024 * 20);
  EXPECT_THAT(chip.rises(line::gate_UH), SizeIs(1));
  EXPECT_THAT(chip.falls(line::gate_UH), IsEmpty());
}

// Mode 7, OCR0A 99 is TOP, clock / 8: period 800. COM A 1 toggles at each match: 1600 a full wave.
// OC0B: 50 * 8 = 400 of 800.
TEST_F(TimerTest, FastPwmWithCompareATopTogglesOutputA) {
  Chip chip(timer_wiring("wave_fast_top_toggles"));
  chip.power(5.0);
  chip.run_cycles(800 * 100);
  EXPECT_THAT(periods(chip.rises(line::gate_VH)), Each(Eq(1600)));
  EXPECT_THAT(widths(chip, line::gate_VH), Each(Eq(800)));
  EXPECT_THAT(periods(chip.rises(line::gate_VL)), Each(Eq(800)));
  EXPECT_THAT(widths(chip, line::gate_VL), Each(Eq(400)));
  EXPECT_THAT(chip.rises(line::gate_VL), SizeIs(::testing::Gt(95)));
}

// CTC, OCR1A 999: toggles each 1000 cycles; COM B 2 only clears, so OC1B stays low.
TEST_F(TimerTest, ClearTimerOnCompareTogglesEachPeriod) {
  Chip chip(timer_wiring("wave_clear_on_compare"));
  chip.power(5.0);
  chip.run_cycles(1000 * 100);
  EXPECT_THAT(periods(chip.rises(line::gate_UH)), Each(Eq(2000)));
  EXPECT_THAT(widths(chip, line::gate_UH), Each(Eq(1000)));
  EXPECT_THAT(chip.rises(line::gate_UL), IsEmpty());
}

// Normal mode, clock / 8: both outputs toggle once a turn of 256 * 8 cycles, 100 timer clocks
// apart.
TEST_F(TimerTest, NormalModeTogglesOncePerTurn) {
  Chip chip(timer_wiring("wave_normal_toggle"));
  chip.power(5.0);
  chip.run_cycles(2048 * 50);
  const auto a = chip.rises(line::gate_WH), b = chip.rises(line::gate_WL);
  EXPECT_THAT(periods(a), Each(Eq(4096)));
  EXPECT_THAT(periods(b), Each(Eq(4096)));
  ASSERT_FALSE(a.empty() || b.empty());
  EXPECT_EQ(b[0] - a[0], 100 * 8);
}

// 200045 clocks of a counter of 8 bits: 200045 mod 256 = 109 = 0x6d, shown by its six low bits
// 101101; PB0 shows TOV0.
TEST_F(TimerTest, AnUnwatchedTimerKeepsItsCountAndItsFlag) {
  McuConfig config = usual_wiring("unwatched_timer");
  const std::array pins = {"PD0", "PD1", "PD2", "PD3", "PD5", "PB0"};
  std::copy(pins.begin(), pins.end(), config.line_pins.begin());
  Chip chip(config);
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  const std::array expected = {true, false, true, true, true, true};
  for (std::uint16_t k = 0; k < expected.size(); ++k)
    EXPECT_EQ(chip.last(LineId{k}), expected[k] ? Level::high : Level::low) << pins[k];
}

// The edges must not depend on how the time is cut.
TEST_F(TimerTest, EdgesAreTheSameWhateverTheHorizons) {
  const auto edges = [](Time look_ahead) {
    Chip chip("ports_and_pwm");
    chip.look_ahead = look_ahead;
    chip.power(5.0);
    chip.run(std::chrono::milliseconds(5));
    return chip.edges;
  };
  const auto one = edges(std::chrono::milliseconds(1)),
             other = edges(std::chrono::nanoseconds(777));
  ASSERT_EQ(one.size(), other.size());
  for (std::size_t k = 0; k < one.size(); ++k) {
    ASSERT_EQ(one[k].at, other[k].at) << "edge " << k;
    ASSERT_EQ(one[k].line, other[k].line) << "edge " << k;
  }
}

}  // namespace
}  // namespace stillrotor::io::test
