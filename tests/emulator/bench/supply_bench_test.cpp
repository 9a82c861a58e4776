// The supply's side of a bench file: what is refused and how, each beside one that loads; and what
// the loaded bench says.
#include <functional>

#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::AllOf;
using testing::HasSubstr;

class SupplyBench : public testing::Test {
 protected:
  /// The small bench with another supply section, and with what stands behind it.
  std::string with(const std::string& supply) const {
    return replaced(small_bench, "supply: {voltage: 48 V}", "supply: " + supply);
  }
  std::string said(const std::string& supply) {
    const auto file = folder_.write("b.yaml", with(supply));
    return problems([&] { load_bench(file, {}, folder_.path() / "build"); });
  }
  Bench load(const std::string& supply) {
    return load_bench(folder_.write("b.yaml", with(supply)), {}, folder_.path() / "build");
  }

  Folder folder_;
};

const char* const pack =
    "{open_circuit: {0 %: 42 V, 50 %: 48 V, 100 %: 52 V}, charge: 75 %, capacity: 10 A h, "
    "branches: {8 mohm: 0.5 s, 12 mohm: 20 s}, cable_inductance: 1 uH,\n  "
    "protection: {discharge: {trip: 100 A, delay: 20 ms}, under_voltage: {trip: 38 V}, retry: 2 "
    "s}}";
const char* const lab =
    "{kind: bench_supply, voltage: 48 V, resistance: 20 mohm, current_limit: 30 A, fold_back: 10 "
    "A, "
    "voltage_loop: 500 Hz, latch_above: 60 V}\n"
    "contactor: {driven_by: key, pull_in: 50 ms, pre_charge: 22 ohm}\n"
    "chopper: {resistance: 2 ohm, on_above: 56 V, off_below: 53 V}";

const char* const by_controller =
    "{voltage: 48 V}\n"
    "contactor: {driven_by: controller, pre_charge: 22 ohm}\n"
    "chopper: {resistance: 2 ohm, driven_by: controller, on_above: 56 V, off_below: 53 V}";

// By hand: halfway between 48 V at 50 % and 52 V at 100 %; 10 A h are 36,000 C.
TEST_F(SupplyBench, ABatteryThatFollowsItsChargeLoads) {
  const Bench bench = load(pack);
  const auto& supply = bench.drive.supply;
  EXPECT_DOUBLE_EQ(supply.voltage_V, 50.0);
  EXPECT_DOUBLE_EQ(supply.battery.capacity_C, 36e3);
  EXPECT_EQ(supply.battery.branch[1].resistance_ohm, 0.012);
  EXPECT_EQ(supply.battery.branch[1].time_s, 20.0);
  EXPECT_EQ(supply.battery.branch[2].resistance_ohm, 0.0);
  EXPECT_TRUE(supply.protection.fitted);
  EXPECT_EQ(supply.protection.under_voltage.release_V, 38.0);  // follows the trip
  EXPECT_EQ(supply.protection.discharge.trip_A, 100.0);
  EXPECT_FALSE(bench.drive.contactor.fitted);
}

TEST_F(SupplyBench, ABenchSupplyWithLoopsContactorAndChopperLoads) {
  const Bench bench = load(lab);
  EXPECT_EQ(bench.drive.supply.current_loop_Hz, 500.0);  // follows the voltage loop
  EXPECT_EQ(bench.drive.supply.fold_back_A, 10.0);
  EXPECT_FALSE(bench.drive.supply.protection.fitted);
  EXPECT_TRUE(bench.drive.contactor.fitted);
  EXPECT_TRUE(bench.key_closes_contactor);
  EXPECT_TRUE(bench.drive.chopper.by_itself);
}

TEST_F(SupplyBench, WhatIsNotWrittenIsNotThere) {
  const Bench bench = load("{voltage: 48 V}");
  EXPECT_TRUE(bench.drive.supply.battery.open_circuit_V.empty());
  EXPECT_FALSE(bench.drive.supply.protection.fitted);
  EXPECT_FALSE(bench.drive.contactor.fitted);
  EXPECT_EQ(bench.drive.chopper.resistance_ohm, 0.0);
  EXPECT_FALSE(bench.drive.chopper.by_itself);
}

TEST_F(SupplyBench, ResolvedFilesLoadToTheSame) {
  for (const char* supply : {"{voltage: 48 V}", pack, lab, by_controller}) {
    const Bench first = load(supply);
    const Bench second =
        load_bench(folder_.write("run/bench.yaml", first.resolved_yaml), {}, "/none");
    test::expect_same_bench(first, second);
    EXPECT_EQ(first.resolved_yaml, second.resolved_yaml);
  }
}

TEST_F(SupplyBench, AMissingVoltageIsNamed) {
  EXPECT_THAT(said("{resistance: 40 mohm}"),
              AllOf(HasSubstr("supply.voltage is missing"), HasSubstr("allowed 0 V to 2000 V")));
}

TEST_F(SupplyBench, TwoVoltagesAreRefused) {
  EXPECT_THAT(said("{voltage: 48 V, open_circuit: {0 %: 42 V, 100 %: 52 V}}"),
              AllOf(HasSubstr("supply.voltage does not apply beside supply.open_circuit"),
                    HasSubstr("Remove it")));
}

TEST_F(SupplyBench, CurvesSayWhatIsWrongWithThem) {
  EXPECT_THAT(said("{open_circuit: {0 %: 42 V, 120 %: 52 V}}"),
              AllOf(HasSubstr("a charge of 120 %"), HasSubstr("allowed 0 % to 100 %")));
  EXPECT_THAT(said("{open_circuit: {0 %: 42 V, 50 %: 41 V}}"), HasSubstr("never falling voltage"));
  EXPECT_THAT(said("{open_circuit: {0 %: 42 V}}"), HasSubstr("allowed two or more"));
  EXPECT_THAT(said("{open_circuit: {0 %: 42 A, 100 %: 52 V}}"), HasSubstr("a voltage is due"));
  EXPECT_THAT(said("{open_circuit: 42 V}"), HasSubstr("is no pair"));
  EXPECT_THAT(said("{voltage: 48 V, branches: {8 mohm: 0.1 ms}}"),
              HasSubstr("allowed above 0 ohm with 1 ms to 100000 s"));
  EXPECT_THAT(
      said("{voltage: 48 V, branches: {1 mohm: 1 s, 2 mohm: 2 s, 3 mohm: 3 s, 4 mohm: 4 s}}"),
      HasSubstr("4 pairs; allowed up to 3"));
}

// By hand: 0 degC is 10/35 of the way from -10 degC to 25 degC: 2.4 - 10/35 * 1.4 = 2.
TEST_F(SupplyBench, ResistanceFollowsTheCellsTemperature) {
  const Bench bench = load(
      "{voltage: 48 V, temperature: 0 degC, resistance_over_temperature: {-10 degC: 2.4, "
      "25 degC: 1}}");
  EXPECT_NEAR(bench.drive.supply.battery.share_of_resistance(), 2.0, 1e-12);
  EXPECT_THAT(said("{voltage: 48 V, resistance_over_temperature: {25 degC: 1, 0 degC: 2}}"),
              HasSubstr("rising temperatures"));
  EXPECT_THAT(said("{voltage: 48 V, resistance_over_temperature: {25 V: 1}}"),
              HasSubstr("a temperature is due"));
}

TEST_F(SupplyBench, AStandinDrivesContactorAndChopper) {
  const Bench bench = load(by_controller);
  EXPECT_FALSE(bench.key_closes_contactor);
  EXPECT_FALSE(bench.drive.chopper.by_itself);
  const auto& scaling = std::get<io::SixStepConfig>(bench.controller).scaling;
  EXPECT_TRUE(scaling.closes_contactor);
  EXPECT_EQ(scaling.chopper_on_V, 56.0);
  EXPECT_EQ(scaling.chopper_off_V, 53.0);
  for (const auto line : {io::line::contactor, io::line::brake_chopper}) {
    const LineHarness& wire = bench.harness.lines[io::index(line)];
    EXPECT_TRUE(wire.connected);
    EXPECT_EQ(wire.pull, Pull::down);
  }
  const Bench other = load(lab);
  const auto& by_others = std::get<io::SixStepConfig>(other.controller).scaling;
  EXPECT_FALSE(by_others.closes_contactor);
  EXPECT_EQ(by_others.chopper_on_V, 0.0);
  EXPECT_FALSE(other.harness.lines[io::index(io::line::contactor)].connected);
  EXPECT_FALSE(other.harness.lines[io::index(io::line::brake_chopper)].connected);
}

TEST_F(SupplyBench, FirmwareNeedsAPinForWhatItDrives) {
  folder_.write("firmware.elf", test::elf_start);
  const auto firmware = [&](const std::string& supply, const std::string& lines) {
    const std::string text =
        replaced(test::mcu_bench, "supply: {voltage: 48 V}", "supply: " + supply) + lines;
    return folder_.write("b.yaml", text);
  };
  const auto said_of = [&](const std::filesystem::path& file) {
    return problems([&] { load_bench(file, {}, folder_.path()); });
  };
  EXPECT_THAT(said_of(firmware(by_controller, "")),
              AllOf(HasSubstr("b.yaml:4:24: contactor.driven_by is controller, but no pin drives "
                              "the line contactor. Wire it: harness.lines.contactor.pin; or write "
                              "key."),
                    HasSubstr("Wire it: harness.lines.brake_chopper.pin; or write itself.")));
  const char* const wired =
      "  lines: {contactor: {pin: PD7, active: low}, brake_chopper: {pin: PB1}}\n";
  const Bench bench = load_bench(firmware(by_controller, wired), {}, folder_.path());
  const LineHarness& wire = bench.harness.lines[io::index(io::line::contactor)];
  EXPECT_FALSE(wire.active_high);
  EXPECT_EQ(wire.pull, Pull::up);
  EXPECT_THAT(said_of(firmware("{voltage: 48 V}", wired)),
              AllOf(HasSubstr("Write contactor.driven_by: controller, or remove the wire"),
                    HasSubstr("Write chopper.driven_by: controller and its resistance")));
}

TEST_F(SupplyBench, AReplayDrivesGatesOnly) {
  folder_.write("c.vcd", "$timescale 1 us $end $enddefinitions $end #0");
  const std::string text =
      replaced(with(by_controller), "controller:\n  backend: standin\n  kind: six_step\n",
               "controller: {backend: capture, file: c.vcd, signals: {UH: a, UL: b, VH: c, VL: d, "
               "WH: e, WL: f}}\n");
  const auto file = folder_.write("b.yaml", text);
  EXPECT_THAT(
      problems([&] { load_bench(file, {}, folder_.path()); }),
      AllOf(HasSubstr("contactor.driven_by is controller, and a replay drives the six gates "
                      "only; allowed beside it: key"),
            HasSubstr("allowed beside it: itself")));
}

TEST_F(SupplyBench, WhatBelongsToTheOtherKindIsRefused) {
  for (const char* key :
       {"current_limit: 30 A", "fold_back: 3 A", "voltage_loop: 500 Hz", "latch_above: 60 V"})
    EXPECT_THAT(said(std::string("{voltage: 48 V, ") + key + "}"),
                HasSubstr("does not apply to a battery; allowed with kind: bench_supply"));
  for (const char* key : {"open_circuit: {0 %: 42 V, 100 %: 52 V}", "branches: {8 mohm: 1 s}",
                          "protection: {retry: 1 s}"})
    EXPECT_THAT(said(std::string("{kind: bench_supply, ") + key + "}"),
                HasSubstr("does not apply to a bench supply; allowed with kind: battery"));
}

TEST_F(SupplyBench, LoopsAndFoldBackFitTogether) {
  EXPECT_THAT(said("{kind: bench_supply, voltage: 48 V, voltage_loop: 500 Hz}"),
              HasSubstr("supply.voltage_loop needs supply.current_limit"));
  EXPECT_THAT(said("{kind: bench_supply, voltage: 48 V, current_limit: 30 A, current_loop: 1 kHz}"),
              HasSubstr("both or not at all"));
  EXPECT_THAT(said("{kind: bench_supply, voltage: 48 V, current_limit: 30 A, fold_back: 40 A}"),
              HasSubstr("allowed up to the limit"));
  EXPECT_THAT(said("{kind: bench_supply, voltage: 48 V, resistance: 2 ohm, current_limit: 30 A, "
                   "fold_back: 1 A}"),
              HasSubstr("no point of operation"));
}

TEST_F(SupplyBench, ThresholdsThatCannotWorkAreRefused) {
  EXPECT_THAT(said("{voltage: 48 V, protection: {under_voltage: {trip: 40 V, release: 38 V}}}"),
              HasSubstr("under_voltage.release lies below its trip"));
  EXPECT_THAT(said("{voltage: 48 V, protection: {over_voltage: {trip: 54 V, release: 55 V}}}"),
              HasSubstr("over_voltage.release lies above its trip"));
  EXPECT_THAT(
      said("{voltage: 48 V}\nchopper: {resistance: 2 ohm, on_above: 56 V, off_below: 56 V}"),
      AllOf(HasSubstr("chopper.off_below is 56 V"), HasSubstr("Lower it")));
}

}  // namespace
}  // namespace stillrotor
