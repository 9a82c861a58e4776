// Lines by one backend, volts by converters: the promises of io/wired.hpp hold for both together.
#include "io/analog/with_analog.hpp"

#include <gtest/gtest.h>

#include <thread>

#include "io/analog/bus_thread.hpp"
#include "io/analog/limits.hpp"
#include "tests/io/analog/recorded_ioctl.hpp"
#include "tests/support/allocations.hpp"

namespace stillrotor::io {
namespace {

/// Lines that remember what was asked of them.
class KeptLines final : public WiredController {
 public:
  void open() override {
    if (refuses) throw ConfigError("harness.lines.gates.UH", "in use");
    opened = true;
  }
  void arm(std::int64_t ns) override { armed_ns = ns; }
  void read(EdgeBatch&) noexcept override { ++reads; }
  bool write(const WireOutputs& out) noexcept override {
    latest = out;
    return follows;
  }
  BenchInputs bench_inputs() noexcept override { return {.stop_circuit = Sensed::on}; }
  void make_safe() noexcept override { safe = true; }
  void close() noexcept override { closed = true; }
  WireCounts counts() const noexcept override { return {.edges = 7, .failed_writes = 1}; }

  bool refuses = false, opened = false, follows = true, safe = false, closed = false;
  int reads = 0;
  std::int64_t armed_ns = 0;
  WireOutputs latest;
};

/// The throttle at 0.85 V, one code 1 mV; and UH's average, read once a second.
AnalogConfig converters() {
  SpiDacConfig dac;
  dac.part = *find_dac_part("ad5624");
  dac.reference_V = 4.096;
  dac.outputs = {{.channel = channel::throttle, .least_V = 0.2, .most_V = 4.0, .safe_V = 0.85}};
  SpiAdcConfig adc;
  adc.part = *find_adc_part("mcp3208");
  adc.bus = {.device = "/dev/spidev0.1", .clock_Hz = 1e6};
  adc.reference_V = 4.096;
  adc.period_s = 1.0;
  adc.inputs = {{.name = "gates.UH", .address = 0, .filter_s = 1e-3}};
  return {.dacs = {dac}, .adcs = {adc}};
}

class AnalogAndLines : public testing::Test {
 protected:
  explicit AnalogAndLines(AnalogConfig config = converters()) {
    auto lines = std::make_unique<KeptLines>();
    lines_ = lines.get();
    // An input answers 1234 counts, 1 mV each, in the low bits of its frame.
    ioctl_.answer = [](const RecordedIoctl::Message& asked) {
      RecordedIoctl::Message answers(asked.size());
      for (std::size_t k = 0; k < asked.size(); ++k) answers[k] = {0x00, 1234 >> 8, 1234 & 0xff};
      return answers;
    };
    wires_ = with_analog(std::move(lines), std::move(config), ioctl_);
  }
  static WireOutputs throttle(double volts) {
    WireOutputs out;
    out.volts[index(channel::throttle)] = volts;
    return out;
  }
  /// Millivolts that the frame of the newest message asks for.
  int shown_mV() {
    const auto frame = ioctl_.last().front();
    return (frame[1] << 8 | frame[2]) >> 4;
  }
  void write_and_wait(const WireOutputs& out) {
    const std::size_t before = ioctl_.messages().size();
    EXPECT_TRUE(wires_->write(out));
    ASSERT_TRUE(ioctl_.wait_for(before + 1));
  }

  RecordedIoctl ioctl_;
  KeptLines* lines_ = nullptr;
  std::unique_ptr<WiredController> wires_;
};

TEST_F(AnalogAndLines, OneWriteReachesBoth) {
  wires_->open();
  EXPECT_TRUE(lines_->opened);
  wires_->arm(42);
  EXPECT_EQ(lines_->armed_ns, 42);
  WireOutputs out = throttle(2.6);
  out.high = 5;
  write_and_wait(out);
  EXPECT_EQ(lines_->latest.high, 5u);
  EXPECT_EQ(shown_mV(), 2600);
  EXPECT_EQ(wires_->bench_inputs().stop_circuit, Sensed::on);
}

TEST_F(AnalogAndLines, SafeIsSafeOnBothAndStays) {
  wires_->open();
  wires_->arm(0);
  write_and_wait(throttle(2.6));
  const std::size_t before = ioctl_.messages().size();
  std::thread([this] { wires_->make_safe(); }).join();
  ASSERT_TRUE(ioctl_.wait_for(before + 1));
  EXPECT_TRUE(lines_->safe);
  EXPECT_EQ(shown_mV(), 850);
  EXPECT_TRUE(wires_->write(throttle(3.0))) << "does nothing, as the contract says";
  wires_->close();
  EXPECT_TRUE(lines_->closed);
  EXPECT_EQ(shown_mV(), 850);
  EXPECT_TRUE(ioctl_.open_files.empty());
  EXPECT_EQ(wires_->counts().failed_writes, 1u) << "the lines' own only";
}

TEST_F(AnalogAndLines, LinesThatAreRefusedLeaveTheConvertersAlone) {
  lines_->refuses = true;
  EXPECT_THROW(wires_->open(), ConfigError);
  EXPECT_TRUE(ioctl_.opened.empty());
}

TEST_F(AnalogAndLines, WhicheverDoesNotFollowIsTold) {
  wires_->open();
  wires_->arm(0);
  lines_->follows = false;
  EXPECT_FALSE(wires_->write(throttle(1.0)));
  lines_->follows = true;
  ioctl_.hang(true);
  EXPECT_TRUE(wires_->write(throttle(1.0)));
  ASSERT_TRUE(ioctl_.wait_until_hanging());
  bool follows = true;
  int writes = 1;
  for (; follows && writes < 100; ++writes) follows = wires_->write(throttle(1.0));
  EXPECT_FALSE(follows);
  // Two are on their way, six more are late, the next is one too many. The first write's transfer
  // may end before the second write, or only after it: they count from there.
  EXPECT_GE(writes, 8);
  EXPECT_LE(writes, 10);
  EXPECT_GE(wires_->counts().late_transfers, 6u);
  EXPECT_EQ(wires_->counts().failed_writes, 2u);
  ioctl_.hang(false);
}

TEST_F(AnalogAndLines, CountsAreThoseOfBoth) {
  wires_->open();
  wires_->arm(0);
  write_and_wait(throttle(4.5));
  ioctl_.fail_transfers(EIO);
  wires_->write(throttle(1.0));
  while (ioctl_.failed == 0) std::this_thread::yield();
  ioctl_.fail_transfers(0);
  wires_->close();
  const WireCounts counts = wires_->counts();
  EXPECT_EQ(counts.edges, 7u);
  EXPECT_EQ(counts.cut_volts, 1u) << "4.5 V, and 4 V is the most";
  EXPECT_EQ(counts.failed_transfers, 1u);
  EXPECT_GE(counts.transfers, 4u);
}

TEST_F(AnalogAndLines, WithoutSupplyNothingIsFedAndNothingCountsAsCut) {
  wires_->open();
  wires_->arm(0);
  WireOutputs out = throttle(0.0);
  out.powered = false;
  write_and_wait(out);
  EXPECT_EQ(shown_mV(), 200) << "as near as its limits allow";
  out.powered = true;
  write_and_wait(out);
  wires_->close();
  EXPECT_EQ(wires_->counts().cut_volts, 1u) << "with supply 0 V is a value, and was cut";
}

TEST_F(AnalogAndLines, FilteredGatesAreReadByTheirNames) {
  EXPECT_FALSE(wires_->gate_volts()[0].valid);
  const std::int64_t before_ns = monotonic_ns();
  wires_->open();
  wires_->arm(before_ns);
  const GateVolts gates = wires_->gate_volts();
  EXPECT_TRUE(gates[index(line::gate_UH)].valid);
  EXPECT_NEAR(gates[index(line::gate_UH)].volts, 1.234, 1e-9);
  EXPECT_GT(gates[index(line::gate_UH)].at.count(), 0);
  for (std::size_t k = 1; k < gate_count; ++k) EXPECT_FALSE(gates[k].valid) << k;
}

TEST_F(AnalogAndLines, ATurnAllocatesNothing) {
  wires_->open();
  wires_->arm(0);
  const auto batch = std::make_unique<EdgeBatch>();
  const std::uint64_t before = allocations();
  for (int k = 0; k < 100; ++k) {
    wires_->read(*batch);
    wires_->gate_volts();
    wires_->write(throttle(1.0));
    wires_->counts();
  }
  wires_->make_safe();
  EXPECT_EQ(allocations(), before);
}

TEST(AnalogSettings, BitsOfAFrameStandBesideEachOther) {
  AnalogConfig config = converters();
  config.dacs[0].part.write = 0x8000;  // where its code stands
  config.adcs[0].part.convert = 1U << 14;
  const std::vector<ConfigError> found = faults(config);
  ASSERT_EQ(found.size(), 2u) << "one for each converter";
  EXPECT_EQ(found[0].path, "converters.dac_a.frame.write");
  EXPECT_EQ(found[1].path, "converters.adc_a.frame.convert");
}

TEST(AnalogSettings, OneDeviceServesOneConverter) {
  AnalogConfig config = converters();
  config.adcs[0].bus.device = config.dacs[0].bus.device;
  const std::vector<ConfigError> found = faults(config);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].path, "converters.adc_a.device");
}

// By hand: the filter's 1 ms, the period of 1 s, 50 us to wake, one frame of 24 bits at 1 MHz (24
// us) and 15 us for its message.
TEST(AnalogLimits, OfTheAveragesAreThoseOfTheSlowestInput) {
  EXPECT_FALSE(averages_route({}));
  const AveragesRoute route = *averages_route(converters());
  EXPECT_NEAR(route.delay_s, 1.001089, 1e-9);
  EXPECT_EQ(route.fastest_filter_s, 1e-3);
  EXPECT_EQ(route.name, "spidev mcp3208");
}

}  // namespace
}  // namespace stillrotor::io
