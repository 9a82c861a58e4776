// Converters in a bench file: what loads, and what is refused and how.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::AllOf;
using testing::HasSubstr;

/// Gates by lines, a known converter and a described one.
const char* const with_volts = R"(backend: gpiod
converters:
  core: 1
  dac_a: {part: ad5668, device: /dev/spidev0.0, reference: 2.5 V, gain: 2, frame: {start: 0x8000001}}
  dac_c:
    part: of our own
    device: /dev/spidev1.0
    clock: 4 MHz
    reference: 4.096 V
    latch: {chip: /dev/gpiochip1, offset: 9, active: high}
    frame: {bits: 10, bytes: 2, code_shift: 2, address_shift: 14, address_bits: 2, mode: 1,
            clock_most: 8 MHz, write: 0x3000, settling: 3 us}
harness:
  lines:
    gates: {UH: {name: UH}, UL: {name: UL}, VH: {name: VH}, VL: {name: VL}, WH: {name: WH}, WL: {name: WL}}
    key: {name: KEY, safe: low}
  channels:
    throttle: {converter: dac_a, address: 3, safe: 0.85 V, most: 4.5 V}
    bus_voltage:
      converter: dac_c
      address: 1
      scale: -1
      shift: 4.5 V
      least: 0.5 V
      safe: 0.5 V
      divider: 1/20
      calibration: {0.5 V: 0.51 V, 2 V: 2.02 V, 4.4 V: 4.41 V}
)";
/// All six gates behind filters.
const char* const with_averages = R"(backend: polled
  supply: 3.3 V
  registers: {file: registers.bin, level: 0x34, output: 0x40}
  expects: {pwm_frequency: 16 kHz}
converters:
  adc_a: {part: mcp3208, device: /dev/spidev0.1, reference: 3.3 V, period: 500 us}
  iio_b: {device: iio:device2, sampling: 2 kHz, watermark: 2}
harness:
  gates: {active: low, volts_tolerance: 2 %}
  lines:
    gates:
      UH: {converter: adc_a, address: 0, filter: 1 ms}
      UL: {converter: adc_a, address: 1, filter: 1 ms}
      VH: {converter: adc_a, address: 2, filter: 1.2 ms}
      VL: {converter: adc_a, address: 3, filter: 1 ms}
      WH: {converter: iio_b, address: 0, filter: 1 ms, scale: 2}
      WL: {converter: iio_b, address: 4, filter: 1 ms, scale: 2}
)";

class Converters : public testing::Test {
 protected:
  static std::string with(const std::string& controller) {
    return replaced(small_bench, "backend: standin\n  kind: six_step\n", controller);
  }
  Bench load(const std::string& controller) {
    return load_bench(folder_.write("b.yaml", with(controller)), {}, folder_.path() / "build");
  }
  std::string said(const std::string& controller, const std::string& from, const std::string& to) {
    const auto file = folder_.write("b.yaml", with(replaced(controller, from, to)));
    return problems([&] { load_bench(file, {}, folder_.path() / "build"); });
  }
  Folder folder_;
};

TEST_F(Converters, AKnownPartNeedsItsNumberOnly) {
  const Bench bench = load(with_volts);
  ASSERT_EQ(bench.analog.dacs.size(), 2u);
  const io::SpiDacConfig& dac = bench.analog.dacs[0];
  io::DacPart part = *io::find_dac_part("ad5668");
  part.start = {0x8000001};
  EXPECT_EQ(dac.part, part);
  EXPECT_EQ(dac.name, "dac_a");
  EXPECT_EQ(dac.bus.device, "/dev/spidev0.0");
  EXPECT_EQ(dac.bus.clock_Hz, 10e6) << "the part takes 50 MHz";
  EXPECT_EQ(dac.reference_V, 2.5);
  EXPECT_EQ(dac.gain, 2.0);
  EXPECT_FALSE(dac.latch);
  ASSERT_EQ(dac.outputs.size(), 1u);
  EXPECT_EQ(dac.outputs[0].channel, io::channel::throttle);
  EXPECT_EQ(dac.outputs[0].address, 3u);
  EXPECT_EQ(dac.outputs[0].safe_V, 0.85);
  EXPECT_EQ(dac.outputs[0].least_V, 0.0);
  EXPECT_EQ(dac.outputs[0].most_V, 4.5);
  EXPECT_EQ(bench.analog.core, 1);
  EXPECT_EQ(bench.analog.priority, 60);
}

TEST_F(Converters, AnotherPartIsDescribedByItsFrame) {
  const Bench bench = load(with_volts);
  const io::SpiDacConfig& dac = bench.analog.dacs[1];
  EXPECT_EQ(dac.name, "dac_c");
  EXPECT_EQ(dac.part.bits, 10);
  EXPECT_EQ(dac.part.write, 0x3000u);
  EXPECT_FALSE(dac.part.write_and_update_all);
  EXPECT_EQ(dac.part.clock_most_Hz, 8e6);
  EXPECT_EQ(dac.bus.clock_Hz, 4e6);
  EXPECT_EQ(dac.latch, (io::LatchLine{"/dev/gpiochip1", 9, false}));
  const io::AnalogOutput& output = dac.outputs.at(0);
  EXPECT_EQ(output.scale, -1.0);
  EXPECT_EQ(output.shift_V, 4.5);
  EXPECT_EQ(output.most_V, 5.0) << "controller.supply";
  ASSERT_EQ(output.calibration.size(), 3u);
  EXPECT_EQ(output.calibration[1], (io::CalibrationPoint{2.0, 2.02}));
}

TEST_F(Converters, TheirChannelsAreConnectedAndNoOthers) {
  const Bench bench = load(with_volts);
  EXPECT_TRUE(bench.harness.channels[io::index(io::channel::throttle)]);
  EXPECT_TRUE(bench.harness.channels[io::index(io::channel::bus_voltage)]);
  EXPECT_EQ(std::count(bench.harness.channels.begin(), bench.harness.channels.end(), true), 2);
}

// By hand: one frame of 32 bits at 10 MHz is 3.2 us, 15 us its message, 50 us to wake, 10 us to
// settle: within one period of 200 us, within four of 20 us.
TEST_F(Converters, PatienceFollowsFromWhatATransferTakes) {
  EXPECT_EQ(load(with_volts).analog.late_after_stores, 2u);
  EXPECT_EQ(load(with_volts).analog.stalled_after_stores, 8u);
  const Bench fast = load(replaced(with_volts, "harness:\n", "cycle: {period: 20 us}\nharness:\n"));
  EXPECT_EQ(fast.analog.late_after_stores, 5u);
  EXPECT_EQ(fast.analog.stalled_after_stores, 16u);
  const auto file = folder_.write(
      "b.yaml", with(replaced(with_volts, "  core: 1", "  core: 1\n  stalled_after: 3")));
  EXPECT_THAT(problems([&] { load_bench(file, {"cycle.period=20 us"}, "/none"); }),
              HasSubstr("stalled_after is 3; allowed 5 to 10000"));
}

TEST_F(Converters, GatesBehindFiltersLoad) {
  const Bench bench = load(with_averages);
  ASSERT_TRUE(bench.cycle.gates.filtered);
  const FilteredGateSettings& gates = *bench.cycle.gates.filtered;
  EXPECT_EQ(gates.on_V, 0.0) << "on is low";
  EXPECT_EQ(gates.off_V, 3.3);
  EXPECT_EQ(gates.tolerance, 0.02);
  EXPECT_EQ(gates.filter_s, 1.2e-3);
  EXPECT_FALSE(gates.complementary);
  ASSERT_EQ(bench.analog.adcs.size(), 1u);
  ASSERT_EQ(bench.analog.iio.size(), 1u);
  EXPECT_EQ(bench.analog.adcs[0].inputs[2].name, "gates.VH");
  EXPECT_EQ(bench.analog.adcs[0].bus.clock_Hz, 2e6) << "the part takes no more";
  EXPECT_EQ(bench.analog.iio[0].device, "iio:device2");
  EXPECT_EQ(bench.analog.iio[0].inputs[1].address, 4u);
  EXPECT_EQ(bench.analog.iio[0].inputs[1].scale, 2.0);
  for (std::size_t k = 0; k < io::gate_count; ++k)
    EXPECT_TRUE(bench.harness.lines[k].connected) << k;
}

TEST_F(Converters, ThreeFilteredGatesHaveTheirComplement) {
  std::string three =
      replaced(with_averages, "backend: polled", "backend: polled\n  gate_wires: three");
  for (const char* low : {"      UL: {converter: adc_a, address: 1, filter: 1 ms}\n",
                          "      VL: {converter: adc_a, address: 3, filter: 1 ms}\n",
                          "      WL: {converter: iio_b, address: 4, filter: 1 ms, scale: 2}\n"})
    three = replaced(three, low, "");
  EXPECT_TRUE(load(three).cycle.gates.filtered.value().complementary);
}

TEST_F(Converters, TheirResolvedFilesLoadToTheSame) {
  for (const char* controller : {with_volts, with_averages}) {
    const Bench first = load(controller);
    const Bench second =
        load_bench(folder_.write("run/bench.yaml", first.resolved_yaml), {}, "/none");
    test::expect_same_bench(first, second);
    EXPECT_EQ(first.resolved_yaml, second.resolved_yaml);
  }
}

TEST_F(Converters, WiresThatEndNowhereAreRefused) {
  EXPECT_THAT(said(with_volts, "converter: dac_a", "converter: dac_b"),
              AllOf(HasSubstr("b.yaml:"),
                    HasSubstr("harness.channels.throttle.converter is dac_b, "
                              "and the bench has none of that name"),
                    HasSubstr("Add converters.dac_b")));
  EXPECT_THAT(said(with_volts, "converter: dac_a", "converter: dac_x"),
              HasSubstr("converter is dac_x; allowed dac_a, dac_b, dac_c, dac_d"));
  EXPECT_THAT(said(with_volts, "converter: dac_a, address: 3", "address: 3"),
              HasSubstr("harness.channels.throttle.address is given, and the wire ends at no "
                        "converter"));
  EXPECT_THAT(said(with_volts, "address: 3, ", ""),
              HasSubstr("harness.channels.throttle.address is missing"));
  EXPECT_THAT(said(with_volts, "    bus_voltage:\n", "    temperature.motor:\n"),
              HasSubstr("unknown key"));
  EXPECT_THAT(said(with_volts, "  channels:\n",
                   "  channels:\n    angle: {sin: {converter: dac_a, address: 1, safe: 2.5 V}}\n"),
              HasSubstr("harness.channels.angle.sin is wired, but the bench has no such sensor"));
  EXPECT_THAT(
      said(with_volts, "safe: 0.85 V, ", ""),
      AllOf(HasSubstr("b.yaml:"), HasSubstr("harness.channels.throttle.safe: no safe level")));
}

TEST_F(Converters, OutputsThatCannotBeAreRefused) {
  EXPECT_THAT(
      said(with_volts, "  channels:\n",
           "  channels:\n    phase_current: {U: {converter: dac_a, address: 3, safe: 1 V}}\n"),
      HasSubstr("the bench has no such sensor"));
  EXPECT_THAT(said(with_volts, "most: 4.5 V", "most: 5.5 V"),
              HasSubstr("harness.channels.throttle.most is 5.5 V; allowed up to "
                        "controller.supply, 5 V"));
  EXPECT_THAT(said(with_volts, "safe: 0.85 V", "safe: 4.8 V"),
              HasSubstr("safe is 4.8 V; allowed 0 V to 4.5 V"));
  EXPECT_THAT(said(with_volts, "address: 3", "address: 16"),
              HasSubstr("address is 16; allowed 0 to 15"));
  const std::string twice = replaced(with_volts, "      converter: dac_c\n      address: 1\n",
                                     "      converter: dac_a\n      address: 3\n");
  EXPECT_THAT(said(twice, "scale: -1\n      shift: 4.5 V", "scale: 1\n      shift: 0 V"),
              AllOf(HasSubstr("address 3 is used twice"),
                    HasSubstr("converters.dac_c.device: this converter serves no channel")));
  EXPECT_THAT(said(with_volts, "2 V: 2.02 V", "2 V: 0.4 V"), HasSubstr("does not rise"));
  EXPECT_THAT(said(with_volts, "2 V: 2.02 V", "2 A: 2.02 V"),
              HasSubstr("Write it as {0.5 V: 0.512 V, 4.5 V: 4.48 V}"));
}

TEST_F(Converters, PartsThatAreNotDescribedAreRefused) {
  EXPECT_THAT(said(with_volts, "part: ad5668", "part: ad5669"),
              AllOf(HasSubstr("converters.dac_a.part is ad5669; allowed mcp4922"),
                    HasSubstr("frame.code_shift")));
  EXPECT_THAT(said(with_volts, "    part: of our own\n", ""),
              HasSubstr("converters.dac_c.part is missing"));
  EXPECT_THAT(said(with_volts, "device: /dev/spidev1.0\n", "frame_gap: 0 s\n"),
              HasSubstr("converters.dac_c.device is missing"));
  EXPECT_THAT(said(with_volts, "reference: 4.096 V\n", "gain: 1\n"),
              HasSubstr("converters.dac_c.reference is missing"));
  EXPECT_THAT(said(with_volts, "write: 0x3000", "write: 0x13000"),
              HasSubstr("of 0 to 0xffff, the frame's 2 bytes"));
  EXPECT_THAT(said(with_volts, "write: 0x3000", "write: three"), HasSubstr("is \"three\""));
  EXPECT_THAT(said(with_volts, "code_shift: 2", "code_shift: 7"), HasSubstr("inside the frame"));
  EXPECT_THAT(said(with_volts, "write: 0x3000", "write: 0x0800"),
              HasSubstr("has bits where address or code stand"));
  EXPECT_THAT(said(with_volts, "clock: 4 MHz", "clock: 9 MHz"),
              HasSubstr("The part takes no more"));
  EXPECT_THAT(said(with_volts, "offset: 9, ", ""), HasSubstr("latch.offset is missing"));
  EXPECT_THAT(said(with_volts, "/dev/spidev1.0", "/dev/spidev0.0"),
              HasSubstr("serves another converter already"));
  EXPECT_THAT(said(with_volts, "start: 0x8000001", "start: \"0x1, x\""),
              HasSubstr("dac_a.frame.start"));
}

TEST_F(Converters, GatesThatCannotBeAveragedAreRefused) {
  EXPECT_THAT(said(with_averages, "address: 1, filter: 1 ms", "address: 1"),
              HasSubstr("harness.lines.gates.UL.filter is missing"));
  EXPECT_THAT(
      said(with_averages, "UL: {converter: adc_a, address: 1, filter: 1 ms}", "UL: {offset: 3}"),
      HasSubstr("harness.lines.gates.UL brings edges, and other gates averages"));
  EXPECT_THAT(said(with_averages, "UL: {converter: adc_a,", "UL: {offset: 3, converter: adc_a,"),
              HasSubstr("harness.lines.gates.UL.offset is of a line with edges"));
  EXPECT_THAT(said(with_averages, "      UL: {converter: adc_a, address: 1, filter: 1 ms}\n", ""),
              HasSubstr("harness.lines.gates.UL is not wired"));
  EXPECT_THAT(
      said(with_averages, "backend: polled", "backend: polled\n  gate_wires: three_and_enable"),
      HasSubstr("An average says nothing of an enable"));
  EXPECT_THAT(said(with_averages, "sampling: 2 kHz, ", ""),
              HasSubstr("converters.iio_b.sampling is 0 Hz"));
  EXPECT_THAT(said(with_averages, "harness:\n", "cycle: {gates: {averaged: on}}\nharness:\n"),
              HasSubstr("cycle.gates.averaged is about edges"));
  EXPECT_THAT(said(with_averages, "active: low", "active: low, volts_on: 3.3 V"),
              HasSubstr("0.1 V and more apart"));
  EXPECT_THAT(said(with_averages, "iio_b: {device: iio:device2", "iio_b: {device: dev/iio2"),
              HasSubstr("allowed a name such as iio:device0"));
  EXPECT_THAT(said(with_volts, "  lines:\n", "  gates: {volts_on: 5 V}\n  lines:\n"),
              HasSubstr("no gate ends at a converter"));
}

TEST_F(Converters, BelongToRealWiresOnly) {
  const auto file =
      folder_.write("b.yaml", std::string(small_bench) + "converters: {dac_a: {part: ad5668}}\n");
  EXPECT_THAT(problems([&] { load_bench(file, {}, "/none"); }),
              HasSubstr("converters.dac_a.part does not apply to backend standin six_step; it "
                        "belongs to gpiod, polled"));
}

}  // namespace
}  // namespace stillrotor
