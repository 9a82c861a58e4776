// Controllers on real wires in a bench file: what is refused and how, each beside one that loads.
#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using io::index;
using test::Folder;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::HasSubstr;

const char* const on_gpiod = R"(backend: gpiod
  expects: {dead_time: 2 us}
harness:
  gates: {active: low}
  lines:
    gates:
      UH: {name: UH}
      UL: {chip: gpiochip1, offset: 4, inverted: on}
      VH: {name: VH}
      VL: {name: VL, bias: pull_up}
      WH: {name: WH}
      WL: {name: WL}
    hall:
      U: {name: HALL_U, drive: open_drain}
      V: {name: HALL_V, safe: low}
    key: {name: KEY, safe: low}
  stop_circuit: {name: STOP, inverted: on}
  watchdog: {name: DOG, safe: low}
)";
const char* const on_polled = R"(backend: polled
  gate_wires: three
  driver_dead_time: 500 ns
  expects: {dead_time: 2 us}
  capture_core: 3
  registers: {file: registers.bin, base: 4096, level: 0x34, set: 0x1c, clear: 0x28, enable: 0x40}
harness:
  lines:
    gates: {UH: {offset: 5}, VH: {offset: 6}, WH: {offset: 7}}
    hall: {U: {offset: 20, safe: high}}
)";

class OnWires : public testing::Test {
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

TEST_F(OnWires, LinesOfAGpioChipLoad) {
  const Bench bench = load(on_gpiod);
  const auto& config = std::get<io::GpiodConfig>(bench.controller);
  const auto& lines = config.lines;
  EXPECT_EQ(lines[index(io::line::gate_UH)].name, "UH");
  EXPECT_TRUE(lines[index(io::line::gate_UH)].inverted) << "on is low";
  EXPECT_EQ(lines[index(io::line::gate_UL)].chip, "gpiochip1");
  EXPECT_EQ(lines[index(io::line::gate_UL)].offset, 4);
  EXPECT_FALSE(lines[index(io::line::gate_UL)].inverted) << "on is low, and a buffer inverts";
  EXPECT_EQ(lines[index(io::line::gate_VL)].bias, io::Bias::pull_up);
  EXPECT_EQ(lines[index(io::line::hall_U)].drive, io::Drive::open_drain);
  EXPECT_EQ(lines[index(io::line::hall_U)].safe, io::Level::released);
  EXPECT_EQ(lines[index(io::line::hall_V)].safe, io::Level::low);
  EXPECT_FALSE(lines[index(io::line::hall_W)].wired());
  EXPECT_FALSE(bench.harness.lines[index(io::line::hall_W)].connected);
  EXPECT_TRUE(config.stop_circuit.inverted);
  EXPECT_EQ(config.watchdog.name, "DOG");
  EXPECT_EQ(config.capture.priority, 50);
  EXPECT_EQ(config.capture.core, -1);
  EXPECT_EQ(config.dead_time_s, 0.0) << "six wires bring their own";
}

TEST_F(OnWires, BitsOfRegistersLoad) {
  const Bench bench = load(on_polled);
  const auto& config = std::get<io::PolledConfig>(bench.controller);
  EXPECT_EQ(config.registers.file, folder_.path() / "registers.bin");
  EXPECT_EQ(config.registers.base, 4096);
  EXPECT_EQ(config.registers.level, 0x34);
  EXPECT_EQ(config.registers.clear, 0x28);
  EXPECT_EQ(config.registers.output, -1);
  EXPECT_EQ(config.lines[index(io::line::gate_VH)].bit, 6);
  EXPECT_EQ(config.gates, io::GateWires::three);
  EXPECT_EQ(config.dead_time_s, 500e-9);
  EXPECT_EQ(config.gap_tolerance_s, 2e-6) << "the dead time that is expected";
  EXPECT_EQ(config.capture.core, 3);
}

TEST_F(OnWires, TheirResolvedFilesLoadToTheSame) {
  for (const char* controller : {on_gpiod, on_polled}) {
    const Bench first = load(controller);
    test::expect_same_bench(
        first, load_bench(folder_.write("run/bench.yaml", first.resolved_yaml), {}, "/none"));
  }
}

TEST_F(OnWires, WiresThatLeadNowhereAreRefused) {
  EXPECT_THAT(said(on_gpiod, "      WL: {name: WL}\n", ""),
              HasSubstr("harness.lines.gates.WL is not wired; allowed with controller.gate_wires"));
  EXPECT_THAT(said(on_gpiod, "WL: {name: WL}", "WL: {chip: gpiochip0}"),
              HasSubstr("no line of it is named"));
  EXPECT_THAT(said(on_gpiod, "WL: {name: WL}", "WL: {offset: 3}"), HasSubstr("no chip is named"));
  EXPECT_THAT(said(on_gpiod, "WL: {name: WL}", "WL: {name: WL, offset: 3}"),
              HasSubstr("has an offset and a name"));
  EXPECT_THAT(said(on_gpiod, "name: HALL_V", "name: HALL_U"),
              HasSubstr("harness.lines.hall.V is the line that harness.lines.hall.U has already"));
  EXPECT_THAT(said(on_gpiod, "key: {name: KEY, safe: low}", "encoder: {A: {name: ENC}}"),
              HasSubstr("harness.lines.encoder.A is wired, but the bench has no such sensor"));
  EXPECT_THAT(said(on_polled, "offset: 7", "offset: 32"), HasSubstr("0 to 31"));
  EXPECT_THAT(said(on_polled, "gate_wires: three", "gate_wires: six"),
              HasSubstr("harness.lines.gates.UL is not wired"));
}

TEST_F(OnWires, WhatBelongsToTheOtherBackendIsRefused) {
  EXPECT_THAT(said(on_polled, "WH: {offset: 7}", "WH: {offset: 7, name: WH}"),
              HasSubstr("harness.lines.gates.WH.name does not apply to backend polled"));
  EXPECT_THAT(said(on_gpiod, "  expects:", "  gap_tolerance: 1 us\n  expects:"),
              HasSubstr("controller.gap_tolerance does not apply to backend gpiod"));
  EXPECT_THAT(said(on_gpiod, "key: {name: KEY, safe: low}", "key: {name: KEY, pin: PB1}"),
              HasSubstr("harness.lines.key.pin does not apply"));
  EXPECT_THAT(said(on_polled, "level: 0x34, ", ""), HasSubstr("registers.level is missing"));
  EXPECT_THAT(said(on_polled, "level: 0x34", "level: 0x3g"), HasSubstr("level is 0x3g; allowed"));
}

TEST_F(OnWires, VoltagesAreNotTheBenchsWithoutAConverter) {
  for (const bool connected : load(on_gpiod).harness.channels) EXPECT_FALSE(connected);
}

}  // namespace
}  // namespace stillrotor
