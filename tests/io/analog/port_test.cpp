// Outputs and inputs while a bench runs: what reaches the bus, what a bus that hangs or fails does
// to the cycle, safe levels, and what set-up refuses.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <thread>

#include "io/analog/analog.hpp"
#include "io/analog/bus_thread.hpp"
#include "io/analog/latest_value.hpp"
#include "io/analog/limits.hpp"
#include "tests/io/analog/recorded_ioctl.hpp"
#include "tests/support/allocations.hpp"

namespace stillrotor::io {
namespace {

using Message = RecordedIoctl::Message;
using Volts = std::array<double, channel_count>;
using testing::HasSubstr;

/// Channel U at 2.5 V while no current flows, V at 1.65 V; one code is 1 mV.
AnalogConfig two_currents() {
  SpiDacConfig dac{.part = *find_dac_part("ad5624"), .reference_V = 4.096};
  dac.outputs = {{.channel = channel::phase_current_U, .address = 0, .safe_V = 2.5},
                 {.channel = channel::phase_current_V, .address = 1, .safe_V = 1.65}};
  return {.dacs = {dac}};
}

/// One input, read once a second; the first time at open().
SpiAdcConfig gate_average() {
  SpiAdcConfig adc;
  adc.part = *find_adc_part("mcp3208");
  adc.bus.device = "/dev/spidev0.1";
  adc.bus.clock_Hz = 1e6;
  adc.reference_V = 4.096;
  adc.period_s = 1.0;
  adc.inputs = {{.name = "gate_U", .address = 0}};
  return adc;
}

Volts volts(double U, double V) {
  Volts all{};
  all[index(channel::phase_current_U)] = U;
  all[index(channel::phase_current_V)] = V;
  return all;
}
Message message(int mV_U, int mV_V) {
  const auto byte = [](int word) { return static_cast<std::uint8_t>(word); };
  return {{0x00, byte(mV_U >> 4), byte(mV_U << 4)}, {0x11, byte(mV_V >> 4), byte(mV_V << 4)}};
}
const Message safe = message(2500, 1650);

TEST(AnalogPort, ShowsTheZeroCurrentOffsetsBeforeAnythingRuns) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  EXPECT_EQ(ioctl.messages(), std::vector<Message>{safe});
  EXPECT_FALSE(port.store(volts(1.0, 1.0)));  // not armed
  port.close();
  EXPECT_EQ(ioctl.last(), safe);
}

TEST(AnalogPort, StoredValuesReachTheBusInOneMessage) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  EXPECT_TRUE(port.store(volts(1.234, 3.0)));
  ASSERT_TRUE(ioctl.wait_for(2));
  EXPECT_EQ(ioctl.last(), message(1234, 3000));
}

TEST(AnalogPort, OnlyTheNewestValuesWaitForABusThatHangs) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  ioctl.hang(true);
  EXPECT_TRUE(port.store(volts(0.001, 0.001)));
  ASSERT_TRUE(ioctl.wait_until_hanging());
  for (int k = 2; k <= 7; ++k) EXPECT_TRUE(port.store(volts(1e-3 * k, 1e-3 * k)));
  ioctl.hang(false);
  ASSERT_TRUE(ioctl.wait_for(3));
  // What was on the bus when it hung, then the newest; nothing between them.
  port.close();
  EXPECT_EQ(ioctl.messages(), (std::vector<Message>{safe, message(1, 1), message(7, 7), safe}));
}

TEST(AnalogPort, SaysWhenTheBusNoLongerFollows) {
  RecordedIoctl ioctl;
  AnalogConfig config = two_currents();
  config.stalled_after_stores = 5;
  AnalogPort port(config, ioctl);
  port.open();
  port.arm(0);
  ioctl.hang(true);
  for (int k = 1; k <= 5; ++k) EXPECT_TRUE(port.store(volts(1.0, 1.0))) << k;
  EXPECT_FALSE(port.store(volts(1.0, 1.0)));
  ioctl.hang(false);
  ASSERT_TRUE(ioctl.wait_for(2));
}

TEST(AnalogPort, SaysSoTooWhenEveryTransferFails) {
  RecordedIoctl ioctl;
  AnalogConfig config = two_currents();
  config.stalled_after_stores = 5;
  AnalogPort port(config, ioctl);
  port.open();
  port.arm(0);
  ioctl.fail_transfers(EIO);
  for (int k = 1; k <= 5; ++k) {
    EXPECT_TRUE(port.store(volts(1.0, 1.0))) << k;
    while (ioctl.failed < k) std::this_thread::yield();
  }
  EXPECT_FALSE(port.store(volts(1.0, 1.0)));
}

TEST(AnalogPort, CountsTransfersThatFailAndGoesOn) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  ioctl.fail_transfers(EIO);
  port.store(volts(1.0, 1.0));
  while (ioctl.failed == 0) std::this_thread::yield();
  ioctl.fail_transfers(0);
  port.store(volts(2.0, 2.0));
  ASSERT_TRUE(ioctl.wait_for(2));
  EXPECT_EQ(ioctl.last(), message(2000, 2000));
  port.close();
  EXPECT_EQ(port.counts().failed_transfers, 1u);
  EXPECT_EQ(port.counts().latest_error, EIO);
}

TEST(AnalogPort, SafeLevelsStayWhateverIsStoredAfterwards) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  port.store(volts(1.0, 1.0));
  ASSERT_TRUE(ioctl.wait_for(2));
  std::thread([&port] { port.make_safe(); }).join();
  ASSERT_TRUE(ioctl.wait_for(3));
  EXPECT_FALSE(port.store(volts(3.0, 3.0)));
  port.close();
  EXPECT_EQ(ioctl.last(), safe);
  EXPECT_TRUE(ioctl.open_files.empty());
}

TEST(AnalogPort, SafeLevelsAreTriedAgainUntilTheyGetThrough) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  port.store(volts(1.0, 1.0));
  ASSERT_TRUE(ioctl.wait_for(2));
  ioctl.fail_transfers(EIO);
  port.make_safe();
  while (ioctl.failed < 3) std::this_thread::yield();
  ioctl.fail_transfers(0);
  ASSERT_TRUE(ioctl.wait_for(3));
  EXPECT_EQ(ioctl.last(), safe);
}

TEST(AnalogPort, MakingSafeDoesNotWaitForABusThatHangs) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  ioctl.hang(true);
  port.store(volts(1.0, 1.0));
  ASSERT_TRUE(ioctl.wait_until_hanging());
  port.make_safe();  // would never return
  ioctl.hang(false);
  ASSERT_TRUE(ioctl.wait_for(3));
  EXPECT_EQ(ioctl.last(), safe);
}

TEST(AnalogPort, CountsWhatItHadToCut) {
  RecordedIoctl ioctl;
  AnalogPort port(two_currents(), ioctl);
  port.open();
  port.arm(0);
  port.store(volts(9.0, 1.0));
  ASSERT_TRUE(ioctl.wait_for(2));
  EXPECT_EQ(ioctl.last(), message(4095, 1000));
  port.close();
  EXPECT_EQ(port.counts().clamped, 1u);
}

TEST(AnalogPort, StoringAndLookingAllocateNothing) {
  RecordedIoctl ioctl;
  AnalogConfig config = two_currents();
  config.adcs = {gate_average()};
  AnalogPort port(config, ioctl);
  port.open();
  port.arm(0);
  const std::uint64_t before = allocations();
  for (int k = 0; k < 100; ++k) {
    port.store(volts(1.0, 1.0));
    port.latest(0);
    port.counts();
  }
  port.make_safe();
  EXPECT_EQ(allocations(), before);
}

TEST(AnalogPort, ReadingsCountTimeFromArming) {
  RecordedIoctl ioctl;
  AnalogConfig config;
  config.adcs = {gate_average()};
  AnalogPort port(config, ioctl);
  EXPECT_FALSE(port.latest(0).valid);
  const std::int64_t before_ns = monotonic_ns();
  port.open();
  port.arm(before_ns);
  const AnalogReading reading = port.latest(0);
  EXPECT_TRUE(reading.valid);
  EXPECT_GT(reading.at.count(), 0);
  EXPECT_LE(reading.at.count(), 1000 * (monotonic_ns() - before_ns));
  EXPECT_FALSE(port.latest(1).valid);  // there is no such input
}

TEST(LatestValue, IsAlwaysOneWholeLetterAndNeverAnOlderOne) {
  using Letter = std::array<std::uint64_t, 256>;  // long enough to be torn
  LatestValue<Letter> mailbox;
  std::atomic<bool> enough{false};
  std::thread writer([&] {
    Letter letter;
    for (std::uint64_t k = 1; !enough; ++k) {
      letter.fill(k);
      mailbox.put(letter);
      if (k % 16 == 0) std::this_thread::yield();
    }
  });
  std::uint64_t seen = 0;
  bool good = true;
  for (int letters = 0; letters < 500 && good;) {
    const bool newer = mailbox.look();
    const Letter letter = mailbox.value();
    good = std::count(letter.begin(), letter.end(), letter[0]) == 256 &&
           (newer ? letter[0] > seen : letter[0] == seen);
    seen = letter[0];
    letters += newer;
    if (!newer) std::this_thread::yield();
  }
  enough = true;
  writer.join();
  EXPECT_TRUE(good) << "after letter " << seen;
}

// --- what is refused ---

void expect_refused(const AnalogConfig& config, const std::string& path, const char* remedy) {
  try {
    check(config);
    FAIL() << "accepted; expected a complaint about " << path;
  } catch (const ConfigError& error) {
    EXPECT_EQ(error.path, path);
    EXPECT_THAT(error.what(), HasSubstr(remedy));
  }
}

TEST(AnalogSettings, NoSafeLevelIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].outputs[1].safe_V = AnalogOutput{}.safe_V;
  expect_refused(config, "harness.channels.phase_current.V.safe", "zero-current offset, not 0 V");
}

TEST(AnalogSettings, SafeLevelBeyondThePartIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].outputs[0].safe_V = 5.0;
  expect_refused(config, "harness.channels.phase_current.U.safe", "0 V to 4.095 V");
}

TEST(AnalogSettings, CalibrationThatDoesNotRiseIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].outputs[0].calibration = {{1.0, 1.0}, {2.0, 2.0}, {3.0, 1.9}};
  expect_refused(config, "harness.channels.phase_current.U.calibration",
                 "point 3 (3 V shown, 1.9 V true)");
}

TEST(AnalogSettings, ClockBeyondThePartIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].bus.clock_Hz = 80e6;
  expect_refused(config, "converters.dac_a.clock", "allowed 1000 to 5e+07");
}

TEST(AnalogSettings, OneAddressOrChannelForTwoIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].outputs[1].address = 0;
  expect_refused(config, "harness.channels.phase_current.V.address", "used twice");
  config = two_currents();
  config.dacs[0].outputs[1].channel = channel::phase_current_U;
  expect_refused(config, "harness.channels.phase_current.U.converter", "wired to two outputs");
}

TEST(AnalogSettings, CodeThatDoesNotFitTheFrameIsRefused) {
  AnalogConfig config = two_currents();
  config.dacs[0].part.code_shift = 13;
  expect_refused(config, "converters.dac_a.frame.code_shift", "inside the frame");
}

TEST(AnalogSetUp, SaysHowToGetABusThatIsNotThere) {
  RecordedIoctl ioctl;
  ioctl.open_error = ENOENT;
  AnalogPort port(two_currents(), ioctl);
  try {
    port.open();
    FAIL();
  } catch (const ConfigError& error) {
    EXPECT_EQ(error.path, "converters.dac_a.device");
    EXPECT_THAT(error.what(), HasSubstr("/dev/spidev0.0"));
    EXPECT_THAT(error.what(), HasSubstr("overlay"));
  }
}

TEST(AnalogSetUp, RefusesABusThatKeepsItsModeOrFailsTheFirstTransfer) {
  RecordedIoctl other_mode;
  other_mode.forced_mode = 0;
  EXPECT_THROW(AnalogPort(two_currents(), other_mode).open(), ConfigError);
  EXPECT_TRUE(other_mode.open_files.empty());
  RecordedIoctl failing;
  failing.fail_transfers(EIO);
  EXPECT_THROW(AnalogPort(two_currents(), failing).open(), ConfigError);
  EXPECT_TRUE(failing.open_files.empty());
}

// --- numbers for a budget ---

// By hand: 2 frames of 24 bits at 10 MHz are 4.8 us, the gap 10 us, the message 15 us; 50 us to
// wake, 7 us to settle.
TEST(AnalogLimits, OfAnOutputAreClockFramesAndGaps) {
  const AnalogConfig config = two_currents();
  const AnalogLimits limits = output_limits(config, config.dacs[0], config.dacs[0].outputs[0]);
  EXPECT_NEAR(limits.transfer_s, 29.8e-6, 1e-12);
  EXPECT_NEAR(limits.delay_s, 86.8e-6, 1e-12);
  EXPECT_NEAR(limits.rate_Hz, 1.0 / 29.8e-6, 1e-3);
  EXPECT_EQ(limits.spread_s, 0.0);
  EXPECT_NEAR(limits.step_V, 1e-3, 1e-12);
}

TEST(AnalogLimits, OfTheRouteAreThoseOfItsWorstOutput) {
  EXPECT_FALSE(volts_route({}));
  AnalogConfig config = two_currents();
  config.dacs[0].outputs[1].scale = 0.5;
  config.dacs.push_back(config.dacs[0]);
  config.dacs[1].bus.clock_Hz = 1e6;  // 2 frames of 24 us instead of 2.4 us
  const VoltsRoute route = *volts_route(config);
  EXPECT_EQ(route.name, "spidev ad5624 ad5624");
  EXPECT_NEAR(route.delay_s, 86.8e-6 + 43.2e-6, 1e-12);
  EXPECT_NEAR(route.resolution_V, 1e-3, 1e-12);
}

// By hand: without a latch the second channel changes a frame (1.6 us) and a gap (10 us) later.
TEST(AnalogLimits, ChannelsWithoutALatchChangeOneAfterAnother) {
  AnalogConfig config = two_currents();
  config.dacs[0].part = *find_dac_part("mcp4922");
  EXPECT_NEAR(output_limits(config, config.dacs[0], config.dacs[0].outputs[0]).spread_s, 11.6e-6,
              1e-12);
  config.dacs[0].latch = LatchLine{};
  EXPECT_EQ(output_limits(config, config.dacs[0], config.dacs[0].outputs[0]).spread_s, 0.0);
}

// By hand: RC 1 ms, period 2 ms, 50 us to wake, one late part: 2 + 1 frames of 16 bits at 8 MHz (6
// us), two gaps (20 us), message 15 us.
TEST(AnalogLimits, OfAnInputIncludeItsFilterAndItsPeriod) {
  AnalogConfig config;
  SpiAdcConfig adc = gate_average();
  adc.part = *find_adc_part("adc128s052");
  adc.bus.clock_Hz = 8e6;
  adc.period_s = 2e-3;
  adc.inputs = {{.name = "a", .address = 0, .scale = 2.0, .filter_s = 1e-3},
                {.name = "b", .address = 1}};
  config.adcs = {adc};
  const AnalogLimits limits = input_limits(config, config.adcs[0], config.adcs[0].inputs[0]);
  EXPECT_NEAR(limits.transfer_s, 41e-6, 1e-12);
  EXPECT_NEAR(limits.delay_s, 3.091e-3, 1e-9);
  EXPECT_NEAR(limits.rate_Hz, 500.0, 1e-9);
  EXPECT_NEAR(limits.step_V, 2e-3, 1e-12);
}

}  // namespace
}  // namespace stillrotor::io
