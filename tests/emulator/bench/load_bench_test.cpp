// Wrong benches are answered with place, value, allowed range and remedy; each beside one that
// loads.
#include "emulator/bench/bench.hpp"

#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

using test::elf_start;
using test::Folder;
using test::mcu_bench;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class LoadBench : public testing::Test {
 protected:
  std::string said(const std::string& text, const std::vector<std::string>& overrides = {}) {
    const auto file = folder_.write("b.yaml", text);
    return problems([&] { load_bench(file, overrides, folder_.path() / "build"); });
  }
  std::string said_without(const std::string& from, const std::string& to) {
    return said(replaced(small_bench, from, to));
  }
  Bench load(const std::string& text, const std::vector<std::string>& overrides = {}) {
    return load_bench(folder_.write("b.yaml", text), overrides, folder_.path() / "build");
  }
  std::string mcu_said(const std::string& from, const std::string& to) {
    folder_.write("firmware.elf", elf_start);
    return said(replaced(mcu_bench, from, to));
  }

  Folder folder_;
};

TEST_F(LoadBench, TheSmallBenchLoads) {
  const Bench bench = load(small_bench);
  EXPECT_EQ(bench.name, "Small");
  EXPECT_EQ(bench.drive.machine.winding_resistance_ohm, 0.05);
  EXPECT_EQ(bench.drive.machine.inductance_q_H, 150e-6);  // follows inductance_d
  EXPECT_TRUE(bench.drive.hall.fitted);
  EXPECT_FALSE(bench.drive.encoder.fitted);
  EXPECT_EQ(bench.controller_kind, "six_step");
}

TEST_F(LoadBench, AMisspeltKeyGetsItsNeighbour) {
  EXPECT_THAT(said_without("winding_resistance", "winding_resistence"),
              AllOf(HasSubstr("b.yaml:4:3: unknown key winding_resistence in machine."),
                    HasSubstr("Did you mean winding_resistance?")));
}

TEST_F(LoadBench, AnUnknownKeyGetsTheKnownOnes) {
  EXPECT_THAT(
      said_without("supply: {", "supply: {colour: red, "),
      AllOf(HasSubstr("unknown key colour in supply."), HasSubstr("Known here: kind, volt")));
}

TEST_F(LoadBench, AKeyInTheWrongSectionGetsItsPath) {
  EXPECT_THAT(said_without("supply: {", "supply: {pole_pairs: 3, "),
              HasSubstr("Did you mean machine.pole_pairs?"));
}

TEST_F(LoadBench, ARepeatedKeyIsRefused) {
  EXPECT_THAT(said_without("  pole_pairs: 4\n", "  pole_pairs: 4\n  pole_pairs: 5\n"),
              HasSubstr("b.yaml:4:3: key pole_pairs appears twice"));
}

TEST_F(LoadBench, OneParameterInTwoSpellingsIsRefused) {
  folder_.write("firmware.elf", elf_start);
  EXPECT_THAT(mcu_said("{throttle: ADC3,",
                       "{phase_current: {U: ADC4}, phase_current.U: ADC6, "
                       "throttle: ADC3,"),
              HasSubstr("harness.channels.phase_current.U.pin is given twice"));
}

TEST_F(LoadBench, AMissingUnitGetsTheExpectedOne) {
  EXPECT_THAT(said_without("50 mohm", "50"),
              AllOf(HasSubstr("b.yaml:4:23: machine.winding_resistance: \"50\" has no unit"),
                    HasSubstr("a resistance is due, in ohm, mohm"), HasSubstr("allowed above 0")));
}

TEST_F(LoadBench, AWrongUnitNamesBothKinds) {
  EXPECT_THAT(said(std::string(small_bench) + "  expects: {top_speed: 50 Hz}\n"),
              HasSubstr("\"50 Hz\" is a frequency; a rotational speed is due"));
  EXPECT_EQ(said(std::string(small_bench) + "  expects: {top_speed: 50 rpm}\n"), "");
}

TEST_F(LoadBench, ANegativeInductanceIsOutOfRange) {
  EXPECT_THAT(said_without("150 uH", "-150 uH"),
              HasSubstr("machine.inductance_d is -150 uH; allowed above 0 H, up to 1 H"));
  EXPECT_THAT(said_without("150 uH", "0 H"), HasSubstr("allowed above 0 H"));
}

TEST_F(LoadBench, ABoundMayBeWrittenInAnotherUnit) {
  for (const char* bound : {"0.1 us", "100 ns", "1e-7 s", "50 us", "0.05 ms", "50000 ns"})
    EXPECT_EQ(said(std::string(small_bench) + "plant: {step_max: " + bound + "}\n"), "");
  for (const char* beyond : {"99.9999 ns", "50.0001 us"})
    EXPECT_THAT(said(std::string(small_bench) + "plant: {step_max: " + beyond + "}\n"),
                HasSubstr("allowed 0.1 us to 50 us"));
}

TEST_F(LoadBench, ACountIsAWholeNumberInItsRange) {
  for (const char* wrong : {"0", "65", "4.5", "four", "4 A", "99999999999"})
    EXPECT_THAT(said_without("pole_pairs: 4", std::string("pole_pairs: ") + wrong),
                HasSubstr(std::string("machine.pole_pairs is ") + wrong + "; allowed 1 to 64"));
}

TEST_F(LoadBench, AMissingParameterIsNamedWithItsSection) {
  EXPECT_THAT(said_without("  pole_pairs: 4\n", ""),
              HasSubstr("b.yaml:3:3: machine.pole_pairs is missing; allowed 1 to 64."));
}

TEST_F(LoadBench, EveryProblemIsReportedNotOnlyTheFirst) {
  const std::string all = said(
      "bench: Bad\nmachine: {pole_pairs: 0, winding_resistence: 1 ohm}\nsupply: {voltage: 48}\n");
  for (const char* part : {"pole_pairs is 0", "unknown key winding_resistence", "has no unit",
                           "load.inertia is missing", "controller.backend is missing"})
    EXPECT_THAT(all, HasSubstr(part));
}

TEST_F(LoadBench, SectionsAndValuesAreNotMixedUp) {
  EXPECT_THAT(said_without("supply: {voltage: 48 V}", "supply: 48 V"),
              HasSubstr("supply is a section"));
  EXPECT_THAT(said_without("50 mohm", "[50 mohm]"), HasSubstr("has no single value"));
  EXPECT_THAT(said_without("50 mohm", "{a: 1}"), HasSubstr("has no single value"));
  EXPECT_THAT(said_without(" 50 mohm", ""), HasSubstr("has no single value"));
}

TEST_F(LoadBench, FluxLinkageAndSpeedConstantExcludeEachOther) {
  EXPECT_THAT(
      said_without("flux_linkage: 12 mWb", "flux_linkage: 12 mWb\n  speed_constant: 9 V/krpm"),
      HasSubstr("say the same thing twice"));
  EXPECT_THAT(said_without("  flux_linkage: 12 mWb\n", ""), HasSubstr("flux_linkage is missing"));
}

// By hand, sine: line-to-line peak = sqrt 3 * p * psi * omega, so 8.7 V/krpm with 4 pole pairs is
// psi = 8.7 * 60 / (2000 pi) / (4 sqrt 3) = 0.0830789 / 6.928203 = 0.0119914 Wb. Tolerance: digits
// shown.
TEST_F(LoadBench, ASpeedConstantOfASineMachineBecomesItsFluxLinkage) {
  const Bench bench =
      load(replaced(small_bench, "flux_linkage: 12 mWb", "speed_constant: 8.7 V/krpm"));
  EXPECT_NEAR(bench.drive.machine.flux_linkage_Wb, 0.0119914, 1e-7);
}

// By hand, flat trapezoid: line-to-line peak = 2 E = 2 * 0.8225 * psi * p * omega (ratio of flat
// top to fundamental: 12 / pi^2 * ... = 0.8225 for 120 degrees, plant header), so psi = 0.0830789 V
// s/rad / (4 * 1.645) = 0.012626 Wb. Tolerance 1 %: harmonics end at order 25.
TEST_F(LoadBench, ASpeedConstantOfATrapezoidCountsBothFlatTops) {
  const Bench bench = load(replaced(small_bench, "flux_linkage: 12 mWb",
                                    "speed_constant: 8.7 V/krpm\n  back_emf: trapezoid"));
  EXPECT_NEAR(bench.drive.machine.flux_linkage_Wb, 0.012626, 0.00012);
  EXPECT_GT(bench.drive.machine.back_emf.size(), 5U);
}

TEST_F(LoadBench, HarmonicsAreOddOrdersWithRatios) {
  const auto with = [](const std::string& pairs) {
    return replaced(
        small_bench, "flux_linkage: 12 mWb",
        "flux_linkage: 12 mWb\n  back_emf: {shape: harmonics, harmonics: " + pairs + "}");
  };
  const Bench bench = load(with("{5: 0.04, 7: -2 %}"));
  ASSERT_EQ(bench.drive.machine.back_emf.size(), 3U);
  EXPECT_EQ(bench.drive.machine.back_emf[1].order, 5);
  EXPECT_EQ(bench.drive.machine.back_emf[2].ratio, -0.02);
  for (const char* wrong : {"{4: 0.1}", "{5: 2}", "{101: 0.1}", "{x: 0.1}", "{5: 1 V}"})
    EXPECT_THAT(said(with(wrong)), HasSubstr("machine.back_emf.harmonics: ")) << wrong;
}

TEST_F(LoadBench, OverridesAreCheckedLikeTheFile) {
  EXPECT_EQ(load(small_bench, {"machine.winding_resistance=60 mohm"})
                .drive.machine.winding_resistance_ohm,
            0.06);
  EXPECT_THAT(
      said(small_bench, {"machine.winding_resistance=60"}),
      HasSubstr("--set machine.winding_resistance=60: machine.winding_resistance: \"60\" has"));
  EXPECT_THAT(said(small_bench, {"machine.polepairs=3"}),
              HasSubstr("Did you mean machine.pole_pairs?"));
  EXPECT_THAT(said(small_bench, {"nothing"}), HasSubstr("Write path=value"));
}

TEST_F(LoadBench, WhatBelongsToAnotherBackendIsRefused) {
  EXPECT_THAT(
      said(std::string(small_bench) + "  clock: 16 MHz\n"),
      HasSubstr("controller.clock does not apply to backend standin six_step; it belongs to "
                "mcu"));
}

TEST_F(LoadBench, StandInsNeedTheirSensors) {
  EXPECT_THAT(said_without("  hall: {hysteresis: 1 deg}\n", "  hall: {fitted: off}\n"),
              HasSubstr("six_step needs Halls"));
  EXPECT_THAT(said_without("kind: six_step", "kind: field_oriented"),
              AllOf(HasSubstr("needs an encoder"), HasSubstr("needs current sensors")));
  EXPECT_THAT(
      said_without("kind: six_step", "kind: volts_per_hertz"),
      AllOf(HasSubstr("controller.base_voltage is missing"), HasSubstr("needs current sensors")));
}

// Signs, by hand: a low-side shunt sees -i, so a plain amplifier reads -20 mV per ampere into the
// machine and an inverting one +20 mV; an in-line sensor reads +.
TEST_F(LoadBench, TheStandInKnowsTheSignOfItsCurrentSensors) {
  const auto gain = [this](const std::string& sensor) {
    const Bench bench =
        load(replaced(small_bench, "sensors:\n", "sensors:\n  phase_current: {" + sensor + "}\n"));
    return std::get<io::SixStepConfig>(bench.controller).scaling.current_gain_V_per_A;
  };
  EXPECT_DOUBLE_EQ(gain("kind: low_side_shunt, shunt: 1 mohm, gain: 20"), -0.02);
  EXPECT_DOUBLE_EQ(gain("kind: low_side_shunt, shunt: 1 mohm, gain: 20, polarity: inverted"), 0.02);
  EXPECT_DOUBLE_EQ(gain("kind: in_line, sensitivity: 20 mV/A"), 0.02);
  EXPECT_DOUBLE_EQ(gain("kind: in_line, sensitivity: 20 mV/A, polarity: inverted"), -0.02);
}

TEST_F(LoadBench, SensorErrorsAreThePlantsNotTheControllersBelief) {
  const Bench bench =
      load(replaced(small_bench, "sensors:\n",
                    "sensors:\n  phase_current: {kind: in_line, sensitivity: 20 mV/A, "
                    "gain_error: {V: 10 %}, offset_error: {W: 5 mV}}\n"));
  const auto& sensor = bench.drive.phase_current;
  EXPECT_DOUBLE_EQ(sensor.gain_V_per_A[0], 0.02);
  EXPECT_DOUBLE_EQ(sensor.gain_V_per_A[1], 0.022);
  EXPECT_DOUBLE_EQ(sensor.offset_V[2], 2.505);
  const auto& scaling = std::get<io::SixStepConfig>(bench.controller).scaling;
  EXPECT_DOUBLE_EQ(scaling.current_gain_V_per_A, 0.02);
  EXPECT_DOUBLE_EQ(scaling.current_offset_V, 2.5);
}

TEST_F(LoadBench, CurrentSensorsAreCompletelyDescribed) {
  const auto with = [this](const std::string& sensor) {
    return said(
        replaced(small_bench, "sensors:\n", "sensors:\n  phase_current: {" + sensor + "}\n"));
  };
  EXPECT_THAT(with("kind: in_line"), HasSubstr("needs either shunt and gain, or sensitivity"));
  EXPECT_THAT(with("kind: in_line, shunt: 1 mohm"), HasSubstr("needs either"));
  EXPECT_THAT(with("kind: in_line, shunt: 1 mohm, gain: 20, sensitivity: 1 V/A"),
              HasSubstr("needs either"));
  EXPECT_EQ(with("kind: in_line, shunt: 1 mohm, gain: 20"), "");
}

TEST_F(LoadBench, SensorsTakeTheirFlawsAndRefuseWrongOnes) {
  const auto with = [](const std::string& sensors) {
    return replaced(small_bench, "sensors:\n", "sensors:\n" + sensors);
  };
  const Bench bench =
      load(with("  encoder: {lines: 100, missing_lines: \"3, 99\", index_width: full_line, "
                "direction: reversed}\n"
                "  dc_link_current: {kind: shunt, shunt: 1 mohm, gain: 50, gain_error: 2 %}\n"
                "  temperature: {motor: {kind: platinum, at: magnet}}\n"
                "  absolute_angle: {output: spi, check: crc8, answers: previous}\n"));
  EXPECT_EQ(bench.drive.encoder.missing_lines, (std::vector<int>{3, 99}));
  EXPECT_EQ(bench.drive.encoder.index_counts, 4);
  EXPECT_TRUE(bench.drive.encoder.reversed);
  EXPECT_EQ(bench.drive.dc_link_current.kind, plant::CurrentSensing::dc_link);
  EXPECT_DOUBLE_EQ(bench.drive.dc_link_current.gain_V_per_A[0], 0.051);
  EXPECT_EQ(bench.drive.temperature[0].nominal_ohm, 1000.0);
  EXPECT_EQ(bench.drive.temperature[0].node, plant::TemperatureNode::magnet);
  EXPECT_EQ(bench.drive.absolute_angle.spi_check, plant::SpiCheck::crc8);
  EXPECT_TRUE(bench.drive.absolute_angle.answers_previous);
  EXPECT_TRUE(bench.harness.channels[io::index(io::channel::dc_link_current)]);
  EXPECT_FALSE(bench.harness.channels[io::index(io::channel::temperature_bridge)]);

  EXPECT_THAT(said(with("  encoder: {lines: 100, missing_lines: \"3, 100\"}\n")),
              HasSubstr("missing_lines is \"3, 100\"; allowed line numbers from 0 to 99"));
  EXPECT_THAT(said(with("  encoder: {lines: 100, missing_lines: \"3; 4\"}\n")),
              HasSubstr("allowed line numbers"));
  EXPECT_THAT(said(with("  dc_link_current: {kind: shunt, gain: 50}\n")),
              HasSubstr("sensors.dc_link_current needs either shunt and gain, or sensitivity"));
  EXPECT_THAT(said(with("  absolute_angle: {output: spi, bits: 16}\n")),
              HasSubstr("bits is 16; allowed with spi: 4 to 14"));
  EXPECT_THAT(
      said(with("  phase_current: {kind: in_line, sensitivity: 1 V/A, fitted: {V: off}}\n")),
      HasSubstr("fitted.V is off; allowed with a built-in controller: on"));
}

TEST_F(LoadBench, ARatiometricThrottleIsAShareOfTheSupply) {
  const Bench bench =
      load(std::string(small_bench) +
           "  supply: 3.3 V\ncontrols: {throttle_low: 20 %, throttle_high: 80 %}\n");
  EXPECT_NEAR(bench.controls.throttle_idle_V, 0.66, 1e-12);
  EXPECT_NEAR(bench.controls.throttle_full_V, 2.64, 1e-12);
  EXPECT_EQ(load(small_bench).controls.throttle_idle_V, 0.85);
  EXPECT_THAT(
      said(std::string(small_bench) + "controls: {throttle_low: 20 %, throttle_idle: 1 V}\n"),
      HasSubstr("say the same thing twice"));
}

TEST_F(LoadBench, AWrongBeliefStaysTheControllersOwn) {
  const Bench bench = load(
      replaced(small_bench, "kind: six_step", "kind: six_step\n  belief: {hall_permutation: 2}"));
  EXPECT_EQ(std::get<io::SixStepConfig>(bench.controller).hall_permutation, 2);
  EXPECT_EQ(std::get<io::SixStepConfig>(bench.controller).hall_spacing_deg, 120.0);
}

TEST_F(LoadBench, AFirmwareBenchConnectsWhatIsWired) {
  folder_.write("firmware.elf", elf_start);
  const Bench bench = load(mcu_bench);
  const auto& config = std::get<io::McuConfig>(bench.controller);
  EXPECT_EQ(config.line_pins[io::index(io::line::gate_UH)], "PD6");
  EXPECT_EQ(config.adc_pins[io::index(io::channel::bus_voltage)], "ADC5");
  EXPECT_EQ(config.firmware, folder_.path() / "firmware.elf");
  EXPECT_TRUE(bench.harness.lines[io::index(io::line::hall_U)].connected);
  EXPECT_EQ(bench.harness.lines[io::index(io::line::hall_U)].pull, Pull::up);
  EXPECT_FALSE(bench.harness.lines[io::index(io::line::brake)].connected);
  EXPECT_FALSE(bench.harness.channels[io::index(io::channel::phase_current_U)]);
  EXPECT_EQ(bench.drive.bus_voltage.ratio, 0.05);
}

TEST_F(LoadBench, UnknownPinsAreRefused) {
  EXPECT_THAT(
      mcu_said("UH: PD6", "UH: PD8"),
      AllOf(HasSubstr("b.yaml:8:15: harness.gates.UH is PD8; allowed on atmega328p: PB0 to"),
            HasSubstr("Check the wiring list")));
  EXPECT_THAT(mcu_said("UH: PD6", "UH: ADC7"), HasSubstr("harness.gates.UH is ADC7; allowed"));
  EXPECT_THAT(mcu_said("throttle: ADC3", "throttle: PD3"),
              HasSubstr("throttle.pin is PD3; allowed"));
  EXPECT_EQ(mcu_said("throttle: ADC3", "throttle: PC3"), "");
}

TEST_F(LoadBench, TwoWiresOnOnePinAreRefused) {
  EXPECT_THAT(mcu_said("UL: PD2", "UL: PD6"),
              HasSubstr("is PD6, which harness.gates.UH has already"));
  EXPECT_THAT(mcu_said("throttle: ADC3", "throttle: ADC0"),
              HasSubstr("is ADC0, which harness.hall.U has already"));
}

TEST_F(LoadBench, AWireToASensorThatIsNotThereIsRefused) {
  EXPECT_THAT(mcu_said("{throttle: ADC3,", "{phase_current.U: ADC4, throttle: ADC3,"),
              HasSubstr("the bench has no such sensor"));
}

TEST_F(LoadBench, MissingFirmwareGetsTheWayToBuildIt) {
  EXPECT_THAT(said(mcu_bench),
              AllOf(HasSubstr("b.yaml:6:38: controller.firmware is "),
                    HasSubstr("firmware.elf; there is no such file"), HasSubstr("./demo.sh")));
  EXPECT_THAT(mcu_said("firmware: firmware.elf", "firmware: ."), HasSubstr("it is not a file"));
}

TEST_F(LoadBench, TextIsNoFirmware) {
  folder_.write("firmware.elf", "#include <avr/io.h>\n");
  EXPECT_THAT(said(mcu_bench),
              HasSubstr("allowed an ELF or Intel HEX file, and this does not start like one"));
}

TEST_F(LoadBench, IntelHexIsFirmwareForAMicrocontrollerOnly) {
  folder_.write("firmware.elf", ":0100000001FE\n:00000001FF\n");
  EXPECT_NO_THROW(load(mcu_bench));
  EXPECT_THAT(said(replaced(mcu_bench, "backend: mcu", "backend: hostfw")),
              HasSubstr("allowed an ELF file, and this does not start like one"));
}

TEST_F(LoadBench, TheBuildFolderIsNamedInPaths) {
  folder_.write("build/firmware/x.elf", elf_start);
  const Bench bench =
      load(replaced(mcu_bench, "firmware: firmware.elf", "firmware: \"${build}/firmware/x.elf\""));
  EXPECT_EQ(std::get<io::McuConfig>(bench.controller).firmware,
            folder_.path() / "build/firmware/x.elf");
}

TEST_F(LoadBench, ACommandPulseIsThereWhereItIsNamedAndNeedsBothEnds) {
  folder_.write("firmware.elf", elf_start);
  const char* const wire = "  lines: {command_pulse: {pin: PB1}}\n";
  EXPECT_FALSE(load(mcu_bench).controls.pulse.fitted);
  EXPECT_THAT(said(mcu_bench + std::string(wire)),
              HasSubstr("harness.lines.command_pulse.pin is PB1, but the bench sends no command "
                        "pulse. Write controls.command_pulse.fitted: on, or remove the wire."));
  const Bench bench = load(mcu_bench + std::string(wire) +
                           "controls: {command_pulse: {period: 2.5 ms, full: 1.9 ms}}\n");
  EXPECT_TRUE(bench.controls.pulse.fitted);
  EXPECT_TRUE(bench.harness.lines[io::index(io::line::command_pulse)].connected);
  EXPECT_DOUBLE_EQ(bench.controls.pulse.period_s, 2.5e-3);
  EXPECT_DOUBLE_EQ(bench.controls.pulse.idle_s, 1e-3);
  EXPECT_DOUBLE_EQ(bench.controls.pulse.full_s, 1.9e-3);
}

TEST_F(LoadBench, ACommandPulseEndsBeforeTheNext) {
  EXPECT_THAT(said(small_bench, {"controls.command_pulse.period=2 ms"}),
              HasSubstr("idle 1 ms, full 2 ms and period 2 ms; allowed only in rising order"));
  EXPECT_THAT(said(small_bench, {"controls.command_pulse.full=1 ms"}),
              HasSubstr("idle 1 ms, full 1 ms and period 20 ms; allowed only in rising order"));
  EXPECT_THAT(said(small_bench, {"controls.command_pulse.period=1 ms"}),
              HasSubstr("allowed 2 ms to 100 ms"));
}

TEST_F(LoadBench, ThrottleAndLimitsStandInRisingOrder) {
  EXPECT_THAT(said(std::string(small_bench) + "controls: {throttle_idle: 4.5 V}\n"),
              HasSubstr("allowed only in rising order"));
  EXPECT_EQ(said(std::string(small_bench) + "controls: {throttle_idle: 1 V}\n"), "");
}

TEST_F(LoadBench, ABatteryHasNoCurrentLimit) {
  EXPECT_THAT(said_without("{voltage: 48 V}", "{voltage: 48 V, current_limit: 5 A}"),
              HasSubstr("does not apply to a battery"));
  EXPECT_EQ(
      said_without("{voltage: 48 V}", "{kind: bench_supply, voltage: 48 V, current_limit: 5 A}"),
      "");
}

TEST_F(LoadBench, ALoadSaysOnlyWhatItsKindKnows) {
  const std::string fan =
      "load: {inertia: 1e-3 kg m^2, kind: fan, quadratic_drag: 2e-5 N m s^2/rad^2";
  const std::string plain = "load: {inertia: 1e-3 kg m^2";
  EXPECT_EQ(load(replaced(small_bench, plain, fan)).drive.shaft.quadratic_drag_Nm_s2_per_rad2,
            2e-5);
  EXPECT_THAT(said_without(plain, fan + ", cart_mass: 3 kg"),
              HasSubstr("load.cart_mass does not apply with load.kind: fan; allowed with cart. "
                        "Remove it, or change load.kind."));
  EXPECT_THAT(said_without(plain, plain + ", quadratic_drag: 2e-5 N m s^2/rad^2"),
              HasSubstr("load.quadratic_drag does not apply with load.kind: cart; allowed with fan "
                        "and pump."));
  EXPECT_THAT(
      said_without(plain, plain + ", kind: pump"),
      HasSubstr("load.quadratic_drag is missing with load.kind: pump; allowed above 0 N m"));
  EXPECT_THAT(said_without(plain, plain + ", kind: constant_power"),
              HasSubstr("load.power is missing with load.kind: constant_power"));
  EXPECT_THAT(said_without(plain, plain + ", kind: constant_torque"),
              HasSubstr("load.torque is missing"));
  EXPECT_THAT(said_without(plain, plain + ", kind: fun"), HasSubstr("cart, fan"));
}

TEST_F(LoadBench, ACouplingGetsWhatItNeeds) {
  const std::string plain = "load: {inertia: 1e-3 kg m^2";
  const Bench elastic = load(replaced(
      small_bench, plain,
      plain + ", load_inertia: 2e-3 kg m^2, coupling: elastic, spring: {stiffness: 40 N m/rad}"));
  EXPECT_EQ(elastic.drive.shaft.coupling, plant::Coupling::elastic);
  EXPECT_EQ(elastic.drive.shaft.stiffness_Nm_per_rad, 40.0);
  EXPECT_THAT(said_without(plain, plain + ", spring: {stiffness: 40 N m/rad}"),
              HasSubstr("load.spring.stiffness does not apply with load.coupling: rigid; allowed "
                        "with elastic."));
  EXPECT_THAT(said_without(plain, plain + ", coupling: slipping"), HasSubstr("a cart_mass"));
  EXPECT_THAT(said_without(plain, plain + ", coupling: freewheel"),
              HasSubstr("load.load_inertia is 0"));
  EXPECT_THAT(said_without(plain, plain + ", gear_efficiency: 90 %, load_inertia: 1 kg m^2, "
                                          "coupling: elastic"),
              HasSubstr("1 with an elastic coupling"));
  EXPECT_THAT(said_without(plain, plain + ", spring: {stiffness: 40 N m}, coupling: elastic"),
              HasSubstr("is a torque; a torsional stiffness is due"));
}

// The plant's own word on a parameter stands at the line that wrote it.
TEST_F(LoadBench, WhatOnlyThePlantKnowsHasItsPlaceToo) {
  EXPECT_THAT(said(std::string(small_bench) + "thermal: {winding_capacity: 1 mJ/K}\n"),
              HasSubstr("b.yaml:14:29: thermal.winding_capacity with its heat paths"));
}

// A lost prefix would make a run of days; what has one that is only unusual loads.
TEST_F(LoadBench, ACircuitThatAsksForEndlessStepsIsRefused) {
  const std::string small = test::small_bench;
  const auto with_link = [&](const std::string& capacitance) {
    return said(small + "dc_link: {capacitance: " + capacitance +
                ", series_resistance: 5 mohm}\nbridge: {diode_resistance: 3 mohm}\n");
  };
  EXPECT_THAT(with_link("1 nF"),
              AllOf(HasSubstr("b.yaml:14:24: dc_link.capacitance is 1e-09 F"),
                    HasSubstr("time constant of 0.0"), HasSubstr("which makes it 20 ns")));
  EXPECT_EQ(with_link("10 uF"), "");
  EXPECT_THAT(said_without("150 uH", "150 pH"),
              HasSubstr("b.yaml:5:17: machine.inductance_d is 1.5e-10 H"));
  EXPECT_THAT(said(replaced(small, "{voltage: 48 V}", "{voltage: 48 V, cable_inductance: 1 pH}")),
              HasSubstr("supply.cable_inductance is 1e-12 H"));
  EXPECT_THAT(said(replaced(small, "{inertia: 1e-3 kg m^2}",
                            "{inertia: 1e-9 kg m^2, viscous_friction: 1 N m s/rad}")),
              HasSubstr("load.inertia is 1e-09 kg m^2"));
  EXPECT_THAT(said(replaced(small, "{inertia: 1e-3 kg m^2}",
                            "{inertia: 1e-9 kg m^2, load_inertia: 1 kg m^2, coupling: elastic, "
                            "spring: {stiffness: 1e7 N m/rad}}")),
              AllOf(HasSubstr("load.spring.stiffness is 1e+07 N m/rad"),
                    HasSubstr("2.49e+06 N m/rad or less")));
  EXPECT_THAT(said(replaced(
                  small, "{inertia: 1e-3 kg m^2}",
                  "{kind: dynamometer, inertia: 1e-6 kg m^2, dynamometer: {gain: 100 N m s/rad}}")),
              HasSubstr("load.dynamometer.gain is 100 N m s/rad"));
  EXPECT_THAT(said(replaced(small, "{voltage: 48 V}",
                            "{kind: bench_supply, voltage: 1000 V, current_limit: 0.1 A, "
                            "voltage_loop: 20 kHz}")),
              HasSubstr("supply.current_loop is 2e+04 Hz"));
  const std::string delta = replaced(small, "12 mWb\n",
                                     "12 mWb\n  connection: delta\n  back_emf: {shape: trapezoid}\n"
                                     "  inductance_zero: 0.1 nH\n");
  EXPECT_THAT(said(delta), HasSubstr("machine.inductance_zero is 1e-10 H"));
  EXPECT_EQ(said(replaced(delta, "0.1 nH", "0.1 uH")), "");
}

// What is no line of the controller cannot tell it anything.
TEST_F(LoadBench, AControllerThatStaysSuppliedNeedsAWireForTheKey) {
  folder_.write("firmware.elf", test::elf_start);
  const std::string stays = replaced(test::mcu_bench, "firmware: firmware.elf}",
                                     "firmware: firmware.elf, stays_supplied: on}");
  EXPECT_THAT(said(stays), AllOf(HasSubstr("controller.stays_supplied is on, but no wire"),
                                 HasSubstr("harness.lines.key")));
  EXPECT_TRUE(load(replaced(stays, "harness:\n", "harness:\n  lines: {key: PD7}\n"))
                  .controller_stays_supplied);
  EXPECT_FALSE(load(test::mcu_bench).controller_stays_supplied);
}

TEST_F(LoadBench, EveryValueSaysWhereItCameFrom) {
  const Bench bench = load(small_bench, {"supply.voltage=36 V"});
  const auto origin = [&](const std::string& path) {
    for (const ParameterValue& value : bench.values)
      if (value.path == path) return value.origin;
    return std::string("absent");
  };
  EXPECT_THAT(origin("machine.pole_pairs"), testing::EndsWith("b.yaml:3"));
  EXPECT_EQ(origin("supply.voltage"), "--set");
  EXPECT_EQ(origin("supply.resistance"), "default");
  EXPECT_EQ(origin("machine.inductance_q"), "follows: inductance_d: no saliency");
  EXPECT_EQ(origin("controller.clock"), "absent");
}

TEST_F(LoadBench, PartnersOfAChipAreWholeAndOnAChipThatHasThem) {
  folder_.write("firmware.elf", elf_start);
  std::string text = replaced(mcu_bench, "firmware: firmware.elf",
                              "firmware: firmware.elf, part: stm32f405, partners: {PARTNERS}");
  text = replaced(text, "PD6, UL: PD2, VH: PD5, VL: PD4, WH: PB3, WL: PB0",
                  "PA8, UL: PB13, VH: PA9, VL: PB14, WH: PA10, WL: PB15");
  text = replaced(text, "ADC3, bus_voltage: {pin: ADC5", "PA0, bus_voltage: {pin: PA1");
  const auto said_with = [&](const char* partners) {
    return said(replaced(text, "PARTNERS", partners));
  };
  EXPECT_EQ(said_with("eeprom: {clock: PB8, data: PB9}"), "");
  EXPECT_THAT(said_with("eeprom: {clock: PB8}"),
              HasSubstr("controller.partners.eeprom.data is missing"));
  EXPECT_THAT(said_with("eeprom: {clock: PB8, data: PB9, address_pins: 8}"),
              HasSubstr("controller.partners.eeprom.address_pins is 8; allowed 0 to 7"));
  EXPECT_THAT(said_with("eeprom: {clock: PB8, data: PB9, image: nowhere.bin}"),
              HasSubstr("there is no such file"));
  EXPECT_THAT(said_with("gate_driver: {clock: PA5, in: PA7, out: PA6, select: PA4}"),
              HasSubstr("whose driver has no fault line"));
  EXPECT_THAT(mcu_said("firmware: firmware.elf",
                       "firmware: firmware.elf, partners: {eeprom: {clock: PB8, data: PB9}}"),
              HasSubstr("atmega328p has none. Remove it."));
}

}  // namespace
}  // namespace stillrotor
