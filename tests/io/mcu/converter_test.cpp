// The converter and the serial line against the datasheet (ATmega48A/PA/88A/PA/168A/PA/328/P:
// Analog-to-Digital Converter, Prescaling and Conversion Timing; USART0).
#include <gmock/gmock.h>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using ::testing::Each;
using ::testing::Eq;

class ConverterTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// PD2 rises one OUT before ADCSRA is written (LDS, ORI, STS: 2 + 1 + 2 cycles after it). The
// conversion starts at the next ADC clock (1 to 32 cycles later), the sample is held 1.5 ADC clocks
// on (48).
TEST_F(ConverterTest, SamplesOneAndAHalfClocksIntoTheConversion) {
  Chip chip("converter");
  chip.voltage = [](ChannelId, Time) { return 1.0; };
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  const auto started = chip.rises(line::gate_UL);
  ASSERT_GT(started.size(), 100u);
  ASSERT_GT(chip.asked.size(), 100u);
  for (std::size_t k = 0; k < 100; ++k) {
    const std::int64_t written = started[k] + 5;
    const std::int64_t sample = cycles(chip.asked[k + 1].at);  // the first is the warm-up
    ASSERT_GE(sample, written + 1 + 48) << "conversion " << k;
    ASSERT_LE(sample, written + 32 + 48) << "conversion " << k;
  }
  // All conversions start on one ADC clock of 32 cycles.
  const std::int64_t phase = cycles(chip.asked[1].at) % 32;
  for (std::size_t k = 1; k < 100; ++k) ASSERT_EQ(cycles(chip.asked[k].at) % 32, phase);
}

// The first after switching on: sample at 13.5 instead of 1.5 ADC clocks.
TEST_F(ConverterTest, TheFirstConversionSamplesTwelveClocksLater) {
  Chip chip("converter");
  chip.power(5.0);
  chip.run(std::chrono::microseconds(200));
  ASSERT_GE(chip.asked.size(), 2u);
  // 25 - 13.5 ADC clocks from that sample to the end, then the loop starts another conversion.
  const std::int64_t gap = chip.rises(line::gate_UL)[0] - cycles(chip.asked[0].at);
  EXPECT_GE(gap, (25 * 32 - 13 * 32 - 16));
  EXPECT_LE(gap, (25 * 32 - 13 * 32 - 16) + 30) << "polling loop and a few instructions";
}

// Channel U is selected at the start, throttle 43 cycles after it, before the sample: it is of
// U. 1.25 / 5 * 1024 = 256.
TEST_F(ConverterTest, ChannelAndValueAreTakenAtTheSampleNotAtTheRead) {
  Chip chip("converter");
  Time flips = std::chrono::milliseconds(10);
  chip.voltage = [&](ChannelId id, Time at) {
    if (id == channel::throttle) return 4.0;
    return at < flips ? 1.25 : 2.5;
  };
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(20));
  for (const auto& asked : chip.asked) ASSERT_EQ(asked.channel, channel::phase_current_U);
  ASSERT_GT(chip.said.size(), 100u);
  EXPECT_EQ(chip.said.front().second, "256");
  EXPECT_EQ(chip.said.back().second, "512");
}

TEST_F(ConverterTest, ClipsAtBothEndsOfItsRange) {
  for (const auto& [volts, said] :
       {std::pair{-0.3, "0"}, std::pair{0.0, "0"}, std::pair{4.9999, "1023"},
        std::pair{5.0, "1023"}, std::pair{12.0, "1023"}, std::pair{0.00489, "1"}}) {
    Chip chip("converter");
    chip.voltage = [v = volts](ChannelId, Time) { return v; };
    chip.power(5.0);
    chip.run(std::chrono::milliseconds(2));
    ASSERT_FALSE(chip.said.empty());
    EXPECT_EQ(chip.said.back().second, said) << volts << " V";
  }
}

// The reference is the supply: at 4 V the same 1.25 V are 320 steps.
TEST_F(ConverterTest, MeasuresAgainstItsSupply) {
  McuConfig config = usual_wiring("converter");
  Chip chip(config);
  chip.voltage = [](ChannelId, Time) { return 1.25; };
  chip.power(4.0);
  chip.run(std::chrono::milliseconds(2));
  ASSERT_FALSE(chip.said.empty());
  EXPECT_EQ(chip.said.back().second, "320");
}

// 13 ADC clocks of 16 cycles each.
TEST_F(ConverterTest, FreeRunningConversionsFollowEachOtherAtThirteenClocks) {
  Chip chip("converter_free");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(5));
  ASSERT_GT(chip.asked.size(), 300u);
  for (std::size_t k = 2; k < chip.asked.size(); ++k)
    ASSERT_EQ(cycles(chip.asked[k].at - chip.asked[k - 1].at), 13 * 16) << "conversion " << k;
}

// A compare match each 2000 cycles starts them; the trigger resets the prescaler, so no phase of
// the ADC clock is left: exactly periodic.
TEST_F(ConverterTest, ATimerStartsConversionsWithoutJitter) {
  Chip chip("converter_timed");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(10));
  ASSERT_GT(chip.asked.size(), 70u);
  for (std::size_t k = 2; k < chip.asked.size(); ++k)
    ASSERT_EQ(cycles(chip.asked[k].at - chip.asked[k - 1].at), 2000) << "conversion " << k;
}

// 38400 baud from UBRR 25: 16 * 26 = 416 cycles a bit, 4160 a byte; "ok", CR, LF: 4 bytes. PD2
// rises one cycle after the first byte is written.
TEST_F(ConverterTest, ALineOfTextIsToldAtTheEndOfItsLastByte) {
  Chip chip("speak");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(5));
  ASSERT_EQ(chip.said.size(), 1u);
  EXPECT_EQ(chip.said[0].second, "ok");
  EXPECT_EQ(cycles(chip.said[0].first), chip.rises(line::gate_UL)[0] - 1 + 4 * 4160);
}

}  // namespace
}  // namespace stillrotor::io::test
