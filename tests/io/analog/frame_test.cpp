// Bytes on the wire, against the parts' published frame formats.
#include <gtest/gtest.h>

#include "io/analog/analog.hpp"
#include "tests/io/analog/recorded_ioctl.hpp"

namespace stillrotor::io {
namespace {

using Frame = RecordedIoctl::Frame;
using Message = RecordedIoctl::Message;

/// Range 4.096 V: at 12 bits one code is 1 mV, at 16 bits 1/16 mV.
SpiDacConfig dac(const char* part, std::vector<AnalogOutput> outputs) {
  return {.part = *find_dac_part(part), .reference_V = 4.096, .outputs = std::move(outputs)};
}
AnalogOutput output(ChannelId channel, std::uint32_t address, double safe_V) {
  return {.channel = channel, .address = address, .safe_V = safe_V};
}

/// What stands on the bus after open(): the safe levels.
Message safe_message(const SpiDacConfig& config) {
  RecordedIoctl ioctl;
  AnalogPort port({.dacs = {config}}, ioctl);
  port.open();
  return ioctl.messages().back();
}

// Source: data sheet DS22250, write command register: bit 15 channel, 14 buffer (0), 13 gain one
// (1), 12 on (1), 11-0 code. By hand: 1234 mV is 0x4D2, 0xABC is 2748 mV.
TEST(DacFrames, SixteenBitsOfAPartWithAChannelBit) {
  EXPECT_EQ(safe_message(dac("mcp4922", {output(channel::throttle, 0, 1.234),
                                         output(channel::bus_voltage, 1, 2.748)})),
            (Message{{0x34, 0xD2}, {0xBA, 0xBC}}));
}

// Source: AD5624/AD5664 data sheet Rev. 0, tables 7 and 8, figures 31 and 32: two unused bits,
// command C2-C0, address A2-A0, code left-aligned in 16 bits. Commands 000 write to input register
// n, 010 write and update all. By hand: 0x4D2 left-aligned is 0x4D20; command 010 in bits 21-19 is
// 0x10 in the first byte, address 3 adds 0x03.
TEST(DacFrames, TwentyFourBitsWithCommandAndAddress) {
  EXPECT_EQ(safe_message(dac("ad5624", {output(channel::phase_current_U, 0, 1.234),
                                        output(channel::phase_current_V, 1, 2.048),
                                        output(channel::phase_current_W, 3, 1.234)})),
            (Message{{0x00, 0x4D, 0x20}, {0x01, 0x80, 0x00}, {0x13, 0x4D, 0x20}}));
}

// Source: SLAS719, table 8: all 16 bits are code. By hand: 1.234 V / 4.096 V * 65536 = 19744 =
// 0x4D20; the last frame updates all.
TEST(DacFrames, TwentyFourBitsOfASixteenBitPart) {
  EXPECT_EQ(safe_message(dac("dac8562", {output(channel::throttle, 1, 1.234)})),
            (Message{{0x11, 0x4D, 0x20}}));
}

// Source: AD5628/AD5648/AD5668 data sheet, input register: four unused bits, command, address, code
// left-aligned in 16 bits, four unused; the same in Linux drivers/iio/dac/ad5064.c (command << 24,
// address << 20, code << 20 - bits). 12 bits: code << 8.
TEST(DacFrames, ThirtyTwoBitsWithUnusedBitsAtBothEnds) {
  EXPECT_EQ(safe_message(dac("ad5628", {output(channel::phase_current_U, 2, 1.234),
                                        output(channel::phase_current_V, 7, 4.095)})),
            (Message{{0x00, 0x24, 0xD2, 0x00}, {0x02, 0x7F, 0xFF, 0x00}}));
}

TEST(DacFrames, FramesOfTheStartComeFirstAndOneByOne) {
  SpiDacConfig config = dac("ad5668", {output(channel::throttle, 0, 0.0)});
  config.part.start = {0x08000001};  // internal reference on
  RecordedIoctl ioctl;
  AnalogPort port({.dacs = {config}}, ioctl);
  port.open();
  ASSERT_EQ(ioctl.messages().size(), 2u);
  EXPECT_EQ(ioctl.messages()[0], (Message{{0x08, 0x00, 0x00, 0x01}}));
}

TEST(DacFrames, LowByteFirstTurnsTheFrameRound) {
  SpiDacConfig config = dac("ad5624", {output(channel::throttle, 1, 1.234)});
  config.part.low_byte_first = true;
  EXPECT_EQ(safe_message(config), (Message{{0x20, 0x4D, 0x11}}));
}

TEST(DacFrames, LatchLineTakesThePlaceOfTheUpdateCommand) {
  SpiDacConfig config = dac("ad5624", {output(channel::phase_current_U, 0, 1.234),
                                       output(channel::phase_current_V, 1, 1.234)});
  config.latch = LatchLine{.chip = "/dev/gpiochip1", .offset = 17, .active_low = true};
  RecordedIoctl ioctl;
  AnalogPort port({.dacs = {config}}, ioctl);
  port.open();
  EXPECT_EQ(ioctl.last(), (Message{{0x00, 0x4D, 0x20}, {0x01, 0x4D, 0x20}}));
  EXPECT_EQ(ioctl.said, (std::vector<std::string>{"message", "latch on", "latch off"}));
  EXPECT_EQ(ioctl.opened[1], "/dev/gpiochip1");
  EXPECT_EQ(ioctl.latch_request.offsets[0], 17u);
  EXPECT_EQ(ioctl.latch_request.config.flags,
            std::uint64_t{GPIO_V2_LINE_FLAG_OUTPUT | GPIO_V2_LINE_FLAG_ACTIVE_LOW});
  port.close();
  EXPECT_TRUE(ioctl.open_files.empty());
}

TEST(DacFrames, ModeAndClockAreThePartsAndTheBuss) {
  SpiDacConfig config = dac("ad5624", {output(channel::throttle, 0, 0.0)});
  config.bus = {.device = "/dev/spidev1.2", .clock_Hz = 12e6};
  RecordedIoctl ioctl;
  AnalogPort port({.dacs = {config}}, ioctl);
  port.open();
  EXPECT_EQ(ioctl.opened, std::vector<std::string>{"/dev/spidev1.2"});
  EXPECT_EQ(ioctl.mode, 1u);  // the part takes data at the falling edge of a clock that rests low
  EXPECT_EQ(ioctl.clock_Hz, 12'000'000u);
}

SpiAdcConfig adc(const char* part, double clock_Hz, std::vector<AnalogInput> inputs) {
  return {.part = *find_adc_part(part),
          .bus = {.clock_Hz = clock_Hz},
          .reference_V = 4.096,
          .period_s = 1.0,
          .inputs = std::move(inputs)};
}

// Source: data sheet DS21298, table 5-2 and figure 6-1: 00000 1 (start) 1 (single-ended) D2 | D1 D0
// xxxxxx | xxxxxxxx; answer: the low half of the second byte and the third. By hand: channel 5 =
// 101 gives 0x07 0x40; channel 2 = 010 gives 0x06 0x80.
TEST(AdcFrames, TwentyFourBitsWithAStartBit) {
  RecordedIoctl ioctl;
  ioctl.answer = [](const Message&) { return Message{{0xFF, 0xE4, 0xD2}, {0x00, 0x0A, 0xBC}}; };
  AnalogPort port(
      {.adcs = {adc("mcp3208", 1e6,
                    {{.name = "gate_U", .address = 5}, {.name = "bus", .address = 2}})}},
      ioctl);
  port.open();
  EXPECT_EQ(ioctl.messages()[0], (Message{{0x07, 0x40, 0x00}, {0x06, 0x80, 0x00}}));
  EXPECT_NEAR(port.latest(0).volts, 1.234, 1e-12);  // 0x4D2; what stands above it is not read
  EXPECT_NEAR(port.latest(1).volts, 2.748, 1e-12);
  EXPECT_EQ(port.find_input("bus"), 1u);
}

// Source: ADC128S052 data sheet, control register (ADD2-ADD0 in bits 13-11), serial frame: each
// answers the frame before; the same in Linux drivers/iio/adc/ti-adc128s052.c (channel << 3 in the
// first byte).
TEST(AdcFrames, SixteenBitsAnsweredOneFrameLater) {
  RecordedIoctl ioctl;
  ioctl.answer = [](const Message&) { return Message{{0x0F, 0xFF}, {0x04, 0xD2}, {0x0A, 0xBC}}; };
  AnalogPort port({.adcs = {adc("adc128s052", 8e6,
                                {{.name = "a", .address = 5}, {.name = "b", .address = 7}})}},
                  ioctl);
  port.open();
  EXPECT_EQ(ioctl.messages()[0], (Message{{0x28, 0x00}, {0x38, 0x00}, {0x38, 0x00}}));
  EXPECT_NEAR(port.latest(0).volts, 1.234, 1e-12);
  EXPECT_NEAR(port.latest(1).volts, 2.748, 1e-12);
}

}  // namespace
}  // namespace stillrotor::io
