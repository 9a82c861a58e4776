// Wrong scenarios are answered with place, value, allowed range and remedy; each beside one that
// loads.
#include "emulator/scenario/scenario.hpp"

#include "emulator/faults/catalogue.hpp"
#include "emulator/scenario/vocabulary.hpp"
#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using test::problems;
using test::replaced;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

const char* const small_scenario = R"(scenario: Small
lasts: 4 s
start: {speed: 60 rpm, key: off}
timeline:
  - {at: 0.1 s, key: on}
  - {at: 2 s, fault: hall_line_open, line: U}
  - {at: 0.4 s, throttle: 2.6 V, over: 300 ms}
expect:
  - {measure: peak, phase: V, from: 0 s, to: 2 s, max: 60 A}
  - {measure: delay, after: hall_line_open, max: 1.2 electrical turns, because: not blind}
)";

constexpr KnownMeasure known[] = {{"peak", "A", true},
                                  {"delay", "s", false},
                                  {"count", "1", false},
                                  {"wave", "A", true, Asks::harmonic},
                                  {"said", "1", false, Asks::pattern},
                                  {"told", "", false, Asks::pattern},
                                  {"answer", "s", false, Asks::event}};

class LoadScenario : public testing::Test {
 protected:
  LoadScenario()
      : bench_(load_bench(folder_.write("bench.yaml", test::small_bench), {}, "/none")) {}

  Scenario load(const std::string& text) {
    return load_scenario(folder_.write("s.yaml", text), bench_, known);
  }
  std::string said(const std::string& text) {
    return problems([&] { load(text); });
  }
  std::string said_with(const std::string& from, const std::string& to) {
    return said(replaced(small_scenario, from, to));
  }
  std::string said_of_action(const std::string& action) {
    return said_with("  - {at: 0.1 s, key: on}\n",
                     "  - {at: 0.1 s, key: on}\n  - {" + action + "}\n");
  }

  Folder folder_;
  Bench bench_;
};

// By hand: 60 rpm = 2 pi rad/s; 0.4 s = 4e11 ps.
TEST_F(LoadScenario, TheSmallOneLoadsInOrderOfTime) {
  const Scenario scenario = load(small_scenario);
  EXPECT_EQ(scenario.name, "Small");
  EXPECT_EQ(scenario.lasts_ps, 4'000'000'000'000);
  EXPECT_DOUBLE_EQ(scenario.start.speed_rad_s, 6.283185307179586);
  ASSERT_EQ(scenario.timeline.size(), 3U);
  const Action& throttle = scenario.timeline[1];
  EXPECT_EQ(throttle.kind, ActionKind::throttle);
  EXPECT_EQ(throttle.at_ps, 400'000'000'000);
  EXPECT_EQ(throttle.over_ps, 300'000'000'000);
  EXPECT_EQ(throttle.value, 2.6);
  EXPECT_EQ(throttle.label, "throttle 2.6 V over 300 ms");
  EXPECT_EQ(scenario.timeline[2].fault, &hall_line_open);
  ASSERT_EQ(scenario.expect.size(), 2U);
  EXPECT_EQ(scenario.expect[0].signal, "V");
  EXPECT_EQ(scenario.expect[0].max, 60.0);
  EXPECT_EQ(scenario.expect[0].unit, "A");
  EXPECT_EQ(scenario.expect[0].window.to_s, 2.0);
  EXPECT_EQ(scenario.expect[1].max, 1.2);
  EXPECT_EQ(scenario.expect[1].unit, "electrical turns");
  EXPECT_EQ(scenario.expect[1].because, "not blind");
  EXPECT_LT(scenario.expect[1].window.to_s, 0.0);
  EXPECT_THAT(scenario.expect[1].origin, testing::EndsWith("s.yaml:10"));
}

TEST_F(LoadScenario, TheResolvedFileLoadsToTheSame) {
  const Scenario first = load(small_scenario);
  const Scenario second = load(first.resolved_yaml);
  EXPECT_EQ(second.resolved_yaml, first.resolved_yaml);
  EXPECT_EQ(second.name, first.name);
  EXPECT_EQ(second.lasts_ps, first.lasts_ps);
  EXPECT_EQ(second.seed, first.seed);
  EXPECT_EQ(second.start.speed_rad_s, first.start.speed_rad_s);
  ASSERT_EQ(second.timeline.size(), first.timeline.size());
  for (std::size_t k = 0; k < first.timeline.size(); ++k) {
    const Action &a = first.timeline[k], &b = second.timeline[k];
    EXPECT_EQ(b.at_ps, a.at_ps);
    EXPECT_EQ(b.over_ps, a.over_ps);
    EXPECT_EQ(b.kind, a.kind);
    EXPECT_EQ(b.value, a.value);
    EXPECT_EQ(b.fault, a.fault);
    EXPECT_EQ(b.which, a.which);
    EXPECT_EQ(b.label, a.label);
  }
  ASSERT_EQ(second.expect.size(), first.expect.size());
  for (std::size_t k = 0; k < first.expect.size(); ++k) {
    EXPECT_EQ(second.expect[k].measure, first.expect[k].measure);
    EXPECT_EQ(second.expect[k].max, first.expect[k].max);
    EXPECT_EQ(second.expect[k].unit, first.expect[k].unit);
    EXPECT_EQ(second.expect[k].window.after, first.expect[k].window.after);
    EXPECT_EQ(second.expect[k].because, first.expect[k].because);
  }
}

TEST_F(LoadScenario, SwitchesTakeTheWordsOfEveryYamlVersion) {
  for (const char* on : {"on", "true", "\"on\""}) {
    const Scenario scenario = load(replaced(small_scenario, "key: on", std::string("key: ") + on));
    EXPECT_EQ(scenario.timeline[0].value, 1.0) << on;
    EXPECT_EQ(scenario.timeline[0].label, "key on");
  }
  EXPECT_THAT(said_with("key: on", "key: maybe"), HasSubstr("key is maybe; allowed on or off"));
}

TEST_F(LoadScenario, NameAndLengthAreDue) {
  EXPECT_THAT(said("timeline: []\n"),
              AllOf(HasSubstr("scenario is missing"), HasSubstr("lasts is missing")));
  EXPECT_THAT(said_with("lasts: 4 s", "lasts: 4"), HasSubstr("\"4\" has no unit; a time is due"));
  EXPECT_THAT(said_with("lasts: 4 s", "lasts: 0 s"), HasSubstr("allowed 1 ms to 3600 s"));
  EXPECT_EQ(said("scenario: Rest\nlasts: 1 s\n"), "");
  // A window may end with the run: 3.2 s are 3.2e12 ps, and they must not come back as less.
  EXPECT_EQ(said("scenario: To its end\nlasts: 3.2 s\nstart: {key: on}\nexpect:\n"
                 "  - {measure: peak, from: 0 s, to: 3.2 s, max: 60 A}\n"),
            "");
}

TEST_F(LoadScenario, AStateOfChargeNeedsABatteryThatFollowsIt) {
  EXPECT_THAT(said_with("key: off}", "key: off, state_of_charge: 50 %}"),
              AllOf(HasSubstr("state_of_charge needs a battery that follows its charge"),
                    HasSubstr("has no open_circuit")));
  bench_.drive.supply.battery.open_circuit_V = {{0.0, 42.0}, {1.0, 52.0}};
  EXPECT_THAT(said_with("key: off}", "key: off, state_of_charge: 120 %}"),
              HasSubstr("state_of_charge is 120 %; allowed 0 % to 100 %"));
  const Scenario scenario =
      load(replaced(small_scenario, "key: off}", "key: off, state_of_charge: 50 %}"));
  EXPECT_EQ(scenario.start.charge, 0.5);
  EXPECT_EQ(load(scenario.resolved_yaml).start.charge, 0.5);
  EXPECT_FALSE(load(small_scenario).start.charge.has_value());
}

TEST_F(LoadScenario, TheSupplyIsASwitch) {
  EXPECT_EQ(said_of_action("at: 1 s, supply: off"), "");
  EXPECT_THAT(said_of_action("at: 1 s, supply: 3 V"), HasSubstr("allowed on or off"));
}

TEST_F(LoadScenario, ActionsLieWithinTheScenario) {
  EXPECT_THAT(said_of_action("at: 5 s, key: off"),
              HasSubstr("at is 5 s; allowed 0 s to lasts, 4 s"));
  EXPECT_THAT(said_of_action("at: -1 s, key: off"), HasSubstr("at is -1 s"));
  EXPECT_THAT(said_of_action("key: off"), HasSubstr("at is missing"));
  EXPECT_EQ(said_of_action("at: 4 s, key: off"), "");
}

// By hand: the throttle of the bench goes from 0.85 V to 4.2 V: 40 % is 0.85 + 0.4 * 3.35 = 2.19 V.
TEST_F(LoadScenario, AThrottleCanBeGivenAsAPosition) {
  const Scenario scenario = load(replaced(small_scenario, "throttle: 2.6 V", "throttle: 40 %"));
  EXPECT_NEAR(scenario.timeline[1].value, 2.19, 1e-12);
  EXPECT_EQ(scenario.timeline[1].label, "throttle 40 % over 300 ms");
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 140 %"),
              HasSubstr("throttle is 140 %; allowed 0 % to 100 %"));
}

TEST_F(LoadScenario, AnActionDoesExactlyOneThing) {
  EXPECT_THAT(said_of_action("at: 1 s"), HasSubstr("says nothing to do"));
  EXPECT_THAT(said_of_action("at: 1 s, key: off, throttle: 1 V"),
              HasSubstr("says key and throttle"));
  EXPECT_THAT(
      said_of_action("at: 1 s, trottle: 1 V"),
      AllOf(HasSubstr("s.yaml:6:15: unknown key trottle"), HasSubstr("Did you mean throttle?")));
}

// Where the line "expect:" was lost, or stands in a wrong place.
TEST_F(LoadScenario, LimitsAndActionsThatStandAmongTheOthersAreToldSo) {
  const std::string limit = said_of_action("measure: peak, max: 1 A, from: 1 s, because: a");
  EXPECT_THAT(limit, HasSubstr("s.yaml:6:5: this is a limit, which is no action. Move it to the "
                               "lines under expect:."));
  EXPECT_THAT(limit, Not(HasSubstr("\n"))) << "and nothing else of that line";
  for (const char* moment : {"at: 1 s", "when: speed > 300 rpm"})
    EXPECT_THAT(said(std::string(small_scenario) + "  - {" + moment + ", throttle: 0 V}\n"),
                HasSubstr("this is an action, which is no limit. Move it to the lines under "
                          "timeline:."));
}

TEST_F(LoadScenario, AListOfWhatIsKnownIsGivenOnce) {
  const std::string all = said_of_action("at: 1 s, zzzzzzzz: 1}\n  - {at: 2 s, yyyyyyyy: 1");
  const std::size_t first = all.find("Known here: at, when");
  ASSERT_NE(first, std::string::npos);
  EXPECT_EQ(all.find("Known here: at, when", first + 1), std::string::npos);
  EXPECT_THAT(all, HasSubstr("unknown key yyyyyyyy in an action. Known here: as above."));
}

TEST_F(LoadScenario, ValuesStayInRange) {
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 6.1 V"),
              HasSubstr("throttle is 6.1 V; allowed 0 V to 6 V"));
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 2 A"),
              HasSubstr("\"2 A\" is a current; a voltage"));
  EXPECT_THAT(said_of_action("at: 1 s, slope: 60 %"), HasSubstr("allowed -50 % to 50 %"));
  EXPECT_EQ(said_of_action("at: 1 s, slope: 6 %"), "");
  EXPECT_EQ(said_of_action("at: 1 s, load_torque: 2 N m, over: 1 s"), "");
  EXPECT_EQ(said_of_action("at: 1 s, supply_voltage: 36 V"), "");
  // The bounds themselves, whatever unit they round in.
  const std::string heated = "at: 1 s, fault: over_temperature, heated: winding, reaches: ";
  for (const char* bound : {"-40 degC", "233.15 K", "300 degC"})
    EXPECT_EQ(said_of_action(heated + bound), "") << bound;
  EXPECT_THAT(said_of_action(heated + "300.1 degC"),
              HasSubstr("reaches is 300.1 degC; allowed -40 degC to 300 degC"));
}

// Each word is refused on a bench that lacks what it moves, with the parameter; each loads on one
// that has it.
TEST_F(LoadScenario, AnActionNeedsWhatItMoves) {
  const struct {
    const char* action;
    const char* needs;
    void (*give)(Bench&);
  } cases[] = {
      {"ambient: 45 degC", "ambient needs thermal; the bench \"Small\" has none",
       [](Bench& b) { b.drive.thermal.fitted = true; }},
      {"rolling_factor: 300 %, over: 1 s", "rolling_factor needs load.rolling_resistance",
       [](Bench& b) {
         b.drive.shaft.cart_mass_kg = 20.0;
         b.drive.shaft.rolling_resistance = 0.02;
       }},
      {"grip_factor: 50 %", "grip_factor needs load.coupling: slipping",
       [](Bench& b) { b.drive.shaft.coupling = plant::Coupling::slipping; }},
  };
  for (const auto& one : cases) {
    const std::string action = std::string("at: 1 s, ") + one.action;
    EXPECT_THAT(said_of_action(action), AllOf(HasSubstr("s.yaml:6:"), HasSubstr(one.needs)));
    one.give(bench_);
    EXPECT_EQ(said_of_action(action), "");
  }
  EXPECT_THAT(said_of_action("at: 1 s, ambient: 90 degC"), HasSubstr("-40 degC to 85 degC"));
  EXPECT_THAT(said_of_action("at: 1 s, ambient: {sine: {amplitude: 300 K, frequency: 1 Hz, for: "
                             "1 s}}"),
              HasSubstr("allowed 0 K to"));
  EXPECT_EQ(said_of_action("at: 1 s, speed_limit: on"), "");
  bench_.harness.lines[io::index(io::line::speed_limit)].connected = false;
  EXPECT_THAT(said_of_action("at: 1 s, speed_limit: on"),
              HasSubstr("speed_limit has no wire on the bench \"Small\""));
}

// A key of an action is one thing: else what a fault's option means would depend on its place.
TEST_F(LoadScenario, NoFaultOptionHasTheNameOfAnAction) {
  for (const Fault* fault : fault_catalogue())
    for (const FaultOption& option : fault->options) {
      for (const ActionWord& word : action_words())
        EXPECT_NE(option.name, word.name) << fault->name;
      for (const char* key :
           {"at", "when", "after", "by", "fault", "clear", "over", "body", "intermittent"})
        EXPECT_NE(option.name, key) << fault->name;
    }
}

TEST_F(LoadScenario, SettingsOfAFaultAgreeWithEachOther) {
  const std::string bounce = "at: 1 s, fault: supply_interrupted, time: 10 ms, ";
  EXPECT_EQ(said_of_action(bounce + "every: 11 ms, count: 3"), "");
  EXPECT_EQ(said_of_action("at: 1 s, fault: supply_interrupted, time: 1 s"), "");
  EXPECT_THAT(said_of_action(bounce + "every: 10 ms, count: 3"),
              AllOf(HasSubstr("s.yaml:6:"), HasSubstr("every is not longer than time")));
  EXPECT_THAT(said_of_action(bounce + "count: 2.5"), HasSubstr("count is no whole number"));
  EXPECT_THAT(said_of_action("at: 1 s, fault: supply_interrupted, time: 0 s"),
              HasSubstr("time is 0 s; allowed 1 us to 1 s"));
}

TEST_F(LoadScenario, OptionsOnlyStandWhereTheyMeanSomething) {
  EXPECT_THAT(said_of_action("at: 1 s, key: off, over: 1 s"),
              HasSubstr("over means nothing beside key"));
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 1 V, line: U"), HasSubstr("line means nothing"));
  EXPECT_THAT(said_of_action("at: 1 s, fault: hall_line_stuck, line: V"), HasSubstr("needs level"));
  EXPECT_THAT(said_of_action("at: 1 s, fault: phase_open"), HasSubstr("needs line"));
  EXPECT_THAT(said_of_action("at: 1 s, fault: phase_open, line: X"),
              HasSubstr("line is X; allowed U"));
  EXPECT_EQ(said_of_action("at: 1 s, fault: hall_line_stuck, line: V, level: high"), "");
}

TEST_F(LoadScenario, UnknownFaultsGetTheirNeighbour) {
  EXPECT_THAT(said_of_action("at: 1 s, fault: hall_line_opne, line: V"),
              HasSubstr("Did you mean hall_line_open?"));
}

TEST_F(LoadScenario, AFaultIsClearedAfterItBegan) {
  EXPECT_THAT(said_of_action("at: 1 s, clear: hall_line_open, line: U"),
              HasSubstr("the fault is absent already"));
  EXPECT_THAT(said_of_action("at: 3 s, clear: hall_line_open, line: V"),
              HasSubstr("absent already"));
  EXPECT_THAT(said_of_action("at: 3 s, fault: hall_line_open, line: U"),
              HasSubstr("present already"));
  EXPECT_EQ(said_of_action("at: 3 s, clear: hall_line_open, line: U"), "");
}

TEST_F(LoadScenario, AFaultNeedsTheSensorThatItBreaks) {
  const std::string encoder_only = replaced(
      replaced(test::small_bench, "  hall: {hysteresis: 1 deg}\n",
               "  encoder: {lines: 256}\n  phase_current: {kind: in_line, sensitivity: 20 mV/A}\n"),
      "kind: six_step", "kind: field_oriented");
  bench_ = load_bench(folder_.write("bench.yaml", encoder_only), {}, "/none");
  EXPECT_THAT(
      said(small_scenario),
      HasSubstr("hall_line_open needs Halls, wired from here; the bench \"Small\" has none. Change "
                "it there (sensors.hall, harness.hall, controller.backend), or remove the "
                "fault"));
}

TEST_F(LoadScenario, ABadJointHasAResistanceAndNeedsSingleWindings) {
  const std::string joint = "at: 1 s, fault: bad_joint, line: V";
  EXPECT_THAT(said_of_action(joint), HasSubstr("bad_joint needs resistance; allowed 0 ohm to 100 "
                                               "ohm. Write resistance: 50 mohm."));
  EXPECT_THAT(said_of_action(joint + ", resistance: 200 ohm"),
              HasSubstr("resistance is 200 ohm; allowed 0 ohm to 100 ohm"));
  EXPECT_THAT(said_of_action("at: 1 s, fault: phase_open, line: V, resistance: 1 ohm"),
              HasSubstr("resistance means nothing beside fault"));
  const Scenario scenario =
      load(replaced(replaced(small_scenario, "fault: hall_line_open, line: U",
                             "fault: bad_joint, line: V, resistance: 350 mohm"),
                    "after: hall_line_open", "after: bad_joint"));
  EXPECT_EQ(scenario.timeline[2].fault, &bad_joint);
  EXPECT_EQ(scenario.timeline[2].which, "V");
  EXPECT_EQ(scenario.timeline[2].settings.word(0), 1U);
  EXPECT_DOUBLE_EQ(scenario.timeline[2].settings[1], 0.35);
  EXPECT_EQ(scenario.timeline[2].label, "bad_joint V 350 mohm");
  EXPECT_EQ(load(scenario.resolved_yaml).timeline[2].settings[1], scenario.timeline[2].settings[1]);

  const std::string needs = "bad_joint needs a magnet machine without flux map";
  bench_.drive.machine.flux_map.psi_d_Wb = {0.01};
  EXPECT_THAT(said_of_action(joint + ", resistance: 1 ohm"), HasSubstr(needs));
  bench_.drive.machine.flux_map = {};
  bench_.drive.induction.emplace();
  EXPECT_THAT(said_of_action(joint + ", resistance: 1 ohm"), HasSubstr(needs));
}

TEST_F(LoadScenario, AnAngleSensorErrorNeedsABitForIt) {
  const std::string error = "at: 1 s, fault: angle_sensor_error";
  EXPECT_THAT(said_of_action(error),
              AllOf(HasSubstr("needs an absolute angle sensor that has an error bit"),
                    HasSubstr("sensors.absolute_angle.output")));
  auto& angle = bench_.drive.absolute_angle;
  angle.output = plant::AngleOutput::ssi;
  EXPECT_THAT(said_of_action(error), HasSubstr("an error bit"));
  angle.ssi.error_bit = true;
  EXPECT_EQ(said_of_action(error), "");
  angle.output = plant::AngleOutput::spi;
  angle.ssi.error_bit = false;
  EXPECT_EQ(said_of_action(error), "");
  EXPECT_THAT(said_of_action(error + ", line: U"), HasSubstr("line means nothing beside fault"));
}

TEST_F(LoadScenario, TheDriversSupplyNeedsADriverThatMindsIt) {
  EXPECT_THAT(said_of_action("at: 1 s, driver_supply: 5 V"),
              HasSubstr("driver_supply needs bridge.driver.undervoltage or "
                        "bridge.driver.bootstrap.capacitance; the bench \"Small\" has none."));
  bench_.drive.gate_driver.undervoltage_V = 8.0;
  EXPECT_EQ(said_of_action("at: 1 s, driver_supply: 5 V"), "");
  EXPECT_THAT(said_of_action("at: 1 s, driver_supply: 5 V, over: 1 s"),
              HasSubstr("over means nothing beside driver_supply"));
  bench_.drive.gate_driver = {};
  bench_.drive.gate_driver.bootstrap.capacitance_F = 1e-6;
  EXPECT_EQ(said_of_action("at: 1 s, driver_supply: 0 V"), "");
}

TEST_F(LoadScenario, ASwitchNeedsItsWire) {
  folder_.write("firmware.elf", test::elf_start);
  bench_ = load_bench(folder_.write("bench.yaml", test::mcu_bench), {}, "/none");
  EXPECT_THAT(said_of_action("at: 1 s, brake: on"), HasSubstr("brake has no wire on the bench"));
  EXPECT_EQ(said(small_scenario), "");
}

TEST_F(LoadScenario, ACommandPulseCarriesTheThrottleWithoutItsVoltage) {
  folder_.write("firmware.elf", test::elf_start);
  const auto on_bench = [&](const std::string& lines, const std::string& controls) {
    const std::string text = replaced(test::mcu_bench, "{throttle: ADC3,", "{") + lines + controls;
    bench_ = load_bench(folder_.write("bench.yaml", text), {}, "/none");
  };
  on_bench("", "");
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 50 %"), HasSubstr("throttle has no wire"));
  EXPECT_THAT(said_of_action("at: 1 s, command_pulse: off"),
              HasSubstr("command_pulse has no wire on the bench"));
  on_bench("  lines: {command_pulse: {pin: PB1}}\n", "controls: {command_pulse: {}}\n");
  EXPECT_EQ(said_of_action("at: 1 s, throttle: 50 %"), "");
  EXPECT_EQ(said_of_action("at: 1 s, command_pulse: off"), "");
}

TEST_F(LoadScenario, WindPedalsAndHeldSpeedNeedTheirLoad) {
  EXPECT_THAT(said_of_action("at: 1 s, wind: 5 m/s"), HasSubstr("wind needs load.drag_area"));
  EXPECT_THAT(said_of_action("at: 1 s, pedal_torque: 5 N m"),
              HasSubstr("pedal_torque needs load.cart_mass"));
  EXPECT_THAT(said_of_action("at: 1 s, held_speed: 60 rpm"),
              HasSubstr("held_speed needs load.kind: dynamometer; the bench \"Small\" has none."));
  const auto with_load = [&](const std::string& more) {
    bench_ = load_bench(folder_.write("bench.yaml", replaced(test::small_bench, "1e-3 kg m^2",
                                                             "1e-3 kg m^2" + more)),
                        {}, "/none");
  };
  with_load(", cart_mass: 20 kg, drag_area: 1 m^2");
  EXPECT_EQ(said_of_action("at: 1 s, wind: 18 km/h"), "");
  EXPECT_EQ(said_of_action("at: 1 s, pedal_torque: 5 N m"), "");
  with_load(", kind: dynamometer");
  EXPECT_EQ(said_of_action("at: 1 s, held_speed: 60 rpm, over: 1 s"), "");
  with_load(", kind: locked");
  EXPECT_THAT(
      said(small_scenario),
      HasSubstr("start speed is 60 rpm; the bench \"Small\" locks its rotor, allowed 0 rpm"));
}

TEST_F(LoadScenario, UnknownMeasuresGetTheirNeighbour) {
  EXPECT_THAT(said_with("measure: peak", "measure: paek"),
              HasSubstr("s.yaml:9:15: unknown measure paek. Did you mean peak?"));
  EXPECT_THAT(said_with("measure: peak", "measure: wobble"), HasSubstr("`list measures`"));
  EXPECT_THAT(said_with("{measure: peak, ", "{"), HasSubstr("measure is missing"));
}

TEST_F(LoadScenario, AnActionCanWaitForThePlant) {
  const Scenario scenario = load(replaced(
      small_scenario, "at: 0.4 s", "when: speed > 300 rpm for 50 ms, after: key on, by: 3 s"));
  ASSERT_EQ(scenario.timeline.size(), 2U);
  ASSERT_EQ(scenario.waiting.size(), 1U);
  const auto& [condition, action] = scenario.waiting[0];
  EXPECT_EQ(condition.what, Watched::speed);
  EXPECT_TRUE(condition.above);
  EXPECT_DOUBLE_EQ(condition.bound, 31.41592653589793);
  EXPECT_EQ(condition.for_ps, 50'000'000'000);
  EXPECT_EQ(condition.by_ps, 3'000'000'000'000);
  EXPECT_EQ(condition.after, "key on");
  EXPECT_EQ(action.label, "throttle 2.6 V over 300 ms when speed > 300 rpm for 50 ms after key on");
  EXPECT_THAT(event_names(scenario), testing::Contains("throttle"));
  const Scenario again = load(scenario.resolved_yaml);
  EXPECT_EQ(again.resolved_yaml, scenario.resolved_yaml);
  EXPECT_EQ(again.waiting[0].condition.by_ps, condition.by_ps);
  EXPECT_EQ(again.waiting[0].action.over_ps, action.over_ps);
}

TEST_F(LoadScenario, WhatIsWaitedForIsChecked) {
  const auto refused = [&](const std::string& action, const std::string& why) {
    EXPECT_THAT(said_of_action(action), HasSubstr(why)) << action;
  };
  for (const char* good :
       {"when: time since key on > 20 ms, brake: on", "when: bus_voltage < 40 V, brake: on",
        "when: angle_e > 90 deg, fault: phase_open, line: U",
        "when: torque < -1 N m for 1 us, key: off, after: throttle",
        "when: phase_current > 5 A, clear: hall_line_open, line: U, after: hall_line_open"})
    EXPECT_EQ(said_of_action(good), "");
  refused("when: speed, brake: on", "when is \"speed\"; allowed QUANTITY > VALUE");
  refused("when: sped > 1 rpm, brake: on", "is no quantity. Did you mean speed?");
  refused("when: speed > 1, brake: on", "when, speed: \"1\" has no unit; a rotational speed");
  refused("when: speed > 1 V, brake: on", "is a voltage");
  refused("when: speed > 200000 rpm, brake: on", "the bound is 200000 rpm; allowed -100000 rpm");
  refused("when: phase_current < 0 A, brake: on", "can never hold: phase_current stays within 0 A");
  refused("when: angle_e > 360 deg, brake: on", "can never hold");
  refused("when: speed > 1 rpm for 5 s, brake: on", "behind \"for\"");
  refused("when: speed > 1 rpm for 50, brake: on", "\"50\" has no unit");
  refused("when: time since key on > 4 s, brake: on", "can never hold: it takes more than 4 s");
  refused("when: speed > 1 rpm for 2 s, by: 1 s, brake: on", "takes more than 2 s, and by comes");
  refused("when: speed > 1 rpm, at: 1 s, brake: on", "at means nothing beside when");
  refused("at: 1 s, by: 2 s, brake: on", "by means nothing without when");
  refused("when: speed > 1 rpm, after: key off, brake: on", "the event \"key off\" never comes");
  refused("when: speed > 1 rpm, after: brake on, brake: on", "the event \"brake on\" never comes");
  refused("when: vehicle_speed > 1 m/s, brake: on", "needs a cart (load.cart_mass)");
  refused("when: distance > 1 m, brake: on", "needs a cart");
  refused("when: state_of_charge < 10 %, brake: on", "needs a battery that follows its charge");
  refused("when: speed > 1 rpm, clear: phase_open, line: V", "the fault never begins");
  refused("when: time since key on > 1 s, after: throttle, brake: on",
          "counts from key on already");
  bench_.drive.shaft.hold = plant::Hold::locked;
  refused("when: speed > 1 rpm, brake: on", "needs a rotor that turns");
}

TEST_F(LoadScenario, AMeasureGetsWhatItAsksForAndNothingElse) {
  const auto said_of_limit = [&](const std::string& limit) {
    return said_with("  - {measure: delay", "  - {" + limit + "}\n  - {measure: delay");
  };
  const std::string harmonic = "measure: wave, harmonic: 6, max: 1 A";
  EXPECT_EQ(said_of_limit(harmonic), "");
  EXPECT_EQ(load(replaced(small_scenario, "  - {measure: delay",
                          "  - {" + harmonic + "}\n  - {measure: delay"))
                .expect[1]
                .argument,
            "6");
  EXPECT_EQ(said_of_limit("measure: said, pattern: \"^fault [0-9]+$\", min: 1"), "");
  // In the limit's own unit, to the digit.
  const Scenario told = load(replaced(
      small_scenario, "  - {measure: delay",
      "  - {measure: told, pattern: \"R ([0-9.]+)\", unit: mohm, min: 27 mohm, max: 0.029 ohm}\n"
      "  - {measure: told, pattern: \"T ([0-9.]+)\", unit: degC, min: 25 degC, max: 300 K}\n"
      "  - {measure: told, pattern: \"n ([0-9.]+)\", unit: 1, min: 4, max: 4}\n"
      "  - {measure: delay"));
  ASSERT_EQ(told.expect.size(), 5U);
  const std::tuple<const char*, double, double> bounds[] = {
      {"mohm", 27.0, 29.0}, {"degC", 25.0, 26.85}, {"1", 4.0, 4.0}};
  for (std::size_t k = 0; k < 3; ++k) {
    const Limit& limit = told.expect[k + 1];
    EXPECT_EQ(std::tuple(limit.unit, limit.min, limit.max), bounds[k]);
  }
  const std::pair<const char*, const char*> cases[] = {
      {"measure: told, pattern: a, max: 1", "told needs unit, as in unit: mohm; 1 for a count."},
      {"measure: told, pattern: a, unit: mohm, max: 1", "a resistance"},
      {"measure: told, pattern: a, unit: mohm, max: 1 V", "a resistance"},
      {"measure: told, pattern: a, unit: ells, max: 1 ells", "ells"},
      {"measure: count, unit: V, max: 1", "count is measured in 1. Remove unit."},
      {"measure: wave, max: 1 A", "wave needs harmonic, as in harmonic: 6."},
      {"measure: wave, harmonic: 2.5, max: 1 A", "harmonic is 2.5; allowed whole numbers"},
      {"measure: wave, harmonic: 1000, max: 1 A", "1 to 100"},
      {"measure: count, harmonic: 6, max: 1", "count takes no harmonic. Remove it."},
      {"measure: said, max: 1", "said needs pattern"},
      {"measure: said, pattern: \"a(b\", max: 1", "pattern is a(b, which is no regular expression"},
      {"measure: answer, max: 1 s", "answer counts from an event. Name one with after."}};
  for (const auto& [limit, words] : cases) EXPECT_THAT(said_of_limit(limit), HasSubstr(words));
}

TEST_F(LoadScenario, AQuantityCanHaveAShape) {
  folder_.write("hand.csv", "# a hand\ntime [ms], throttle [%]\n0, 0\n500, 40\n900, 0\n");
  const Scenario scenario = load(replaced(
      small_scenario, "  - {at: 0.4 s, throttle: 2.6 V, over: 300 ms}\n",
      "  - {at: 0.4 s, throttle: {table: hand.csv}}\n"
      "  - {at: 2.5 s, throttle: {noise: {rms: 1 %, bandwidth: 20 Hz, for: 1 s}}}\n"
      "  - {at: 2.5 s, throttle: {sine: {amplitude: 100 mV, frequency: 5 Hz, for: 1 s}}}\n"));
  ASSERT_EQ(scenario.timeline.size(), 5U);
  const Shape& hand = *scenario.timeline[1].shape;
  ASSERT_EQ(hand.points.size(), 3U);
  EXPECT_EQ(hand.points[1].at_ps, 500'000'000'000);
  EXPECT_NEAR(hand.points[1].value, 2.19, 1e-12);  // see AThrottleCanBeGivenAsAPosition
  EXPECT_EQ(scenario.timeline[1].label, "throttle table hand.csv");
  EXPECT_NEAR(scenario.timeline[3].shape->size, 0.0335, 1e-12);
  EXPECT_EQ(scenario.timeline[4].label, "throttle sine 100 mV, 5 Hz, for 1 s");
  EXPECT_EQ(scenario.timeline[4].most, 6.0);
  // The table lies beside the resolved file, wherever that goes.
  ASSERT_EQ(scenario.tables.size(), 1U);
  EXPECT_THAT(scenario.resolved_yaml, HasSubstr("throttle: {table: scenario-table-1.csv}"));
  EXPECT_THAT(scenario.resolved_yaml, Not(HasSubstr(folder_.path().string())));
  folder_.write(scenario.tables[0].name, scenario.tables[0].text);
  folder_.write("hand.csv", "");
  const Scenario again = load(scenario.resolved_yaml);
  EXPECT_EQ(again.resolved_yaml, scenario.resolved_yaml);
  ASSERT_EQ(again.timeline.size(), scenario.timeline.size());
  for (std::size_t k = 0; k < scenario.timeline.size(); ++k) {
    if (!scenario.timeline[k].shape) continue;
    const Shape &a = *scenario.timeline[k].shape, &b = *again.timeline[k].shape;
    EXPECT_EQ(a.kind, b.kind);
    EXPECT_EQ(a.size, b.size);
    EXPECT_EQ(a.lasts_ps, b.lasts_ps);
    ASSERT_EQ(a.points.size(), b.points.size());
    for (std::size_t n = 0; n < a.points.size(); ++n) {
      EXPECT_EQ(a.points[n].at_ps, b.points[n].at_ps);
      EXPECT_EQ(a.points[n].value, b.points[n].value);
    }
  }
}

TEST_F(LoadScenario, ShapesAreChecked) {
  folder_.write("late.csv", "time [s], slope [%]\n0, 1\n2, 70\n1, 3\n");
  folder_.write("bad.csv", "time [s], slope [%]\n0, 1\n1, x\n");
  const auto refused = [&](const std::string& shape, const std::string& why) {
    EXPECT_THAT(said_of_action("at: 1 s, " + shape), HasSubstr(why)) << shape;
  };
  EXPECT_EQ(said_of_action("at: 1 s, temperature: 80 degC, body: winding"), "");
  refused("slope: {table: late.csv}", "late.csv:3:1: slope is 0.7; allowed -50 % to 50 %");
  refused("slope: {table: late.csv}",
          "late.csv:4:1: time is 1 s; allowed 0 s to 3600 s, each later");
  refused("slope: {table: bad.csv}", "bad.csv:3:1: slope is \"x\"");
  refused("slope: {table: none.csv}", "there is no such file");
  refused("slope: {sine: {amplitude: 2 %, frequency: 1 Hz}}", "sine needs for");
  refused("slope: {sine: {amplitude: 2 V, frequency: 1 Hz, for: 1 s}}", "is not a plain number");
  refused("slope: {sine: {amplitude: 2 %, frequency: 2 kHz, for: 1 s}}", "allowed 1 mHz to 1 kHz");
  refused("slope: {noise: {rms: 2 %, bandwidth: 10 kHz, for: 3600 s}}", "points; allowed 200000");
  refused("slope: {saw: {}}", "unknown key saw in the shape of slope");
  refused("slope: {}", "has 0 of sine, noise, table; allowed exactly one");
  refused("slope: {sine: {amplitude: 2 %, frequency: 1 Hz, for: 1 s}}, over: 1 s",
          "over means nothing beside a shape");
  refused("brake: {sine: {}}", "brake has no single value");
  refused("temperature: 80 degC", "temperature needs body; allowed winding, magnet");
  refused("slope: 2 %, body: winding", "body means nothing beside slope");
}

// Two movements of a quantity at once say two things.
TEST_F(LoadScenario, RampsOfOneQuantityDoNotOverlap) {
  EXPECT_THAT(said_of_action("at: 0.6 s, throttle: 1 V"),
              AllOf(HasSubstr("throttle 1 V begins at 0.6 s, while \"throttle 2.6 V over 300 ms\""),
                    HasSubstr("s.yaml:8) goes on to 0.7 s")));
  EXPECT_EQ(said_of_action("at: 0.7 s, throttle: 1 V"), "");
  EXPECT_EQ(said_of_action("at: 0.6 s, throttle: 1 V, overtakes: on"), "");
  EXPECT_THAT(said_of_action("at: 0.6 s, throttle: 1 V, overtakes: perhaps"),
              HasSubstr("overtakes is perhaps; allowed on or off"));
  EXPECT_THAT(said_of_action("at: 0.6 s, brake: on, overtakes: on"),
              HasSubstr("overtakes means nothing beside brake"));
  EXPECT_EQ(said_of_action("at: 0.6 s, slope: 1 %"), "");
  EXPECT_EQ(
      said_of_action("at: 0.6 s, throttle: {sine: {amplitude: 1 V, frequency: 1 Hz, for: 1 s}}"),
      "");
}

TEST_F(LoadScenario, AFaultCanComeAndGo) {
  const std::string flickers = ", intermittent: {probability: 10 %, lasts: 5 ms, for: 1 s}";
  const Scenario scenario = load(replaced(small_scenario, "hall_line_open, line: U}",
                                          "hall_line_open, line: U" + flickers + "}"));
  const Action& action = scenario.timeline[2];
  EXPECT_GT(action.flips.size(), 10U);
  EXPECT_LT(action.flips.size(), 80U);  // about 2 * 20
  EXPECT_EQ(action.label, "hall_line_open U 10 % of the time, 5 ms each, for 1 s");
  EXPECT_EQ(load(scenario.resolved_yaml).timeline[2].flips, action.flips);
  EXPECT_NE(load(replaced(scenario.resolved_yaml, "seed: 1", "seed: 2")).timeline[2].flips,
            action.flips);
  EXPECT_THAT(event_names(scenario), testing::Contains("hall_line_open cleared"));
  const auto said_of_fault = [&](const std::string& rest) {
    return said_of_action("at: 1 s, fault: phase_open, line: V, " + rest);
  };
  EXPECT_EQ(said_of_fault(flickers.substr(2)), "");
  EXPECT_THAT(said_of_fault("intermittent: {lasts: 5 ms, for: 1 s}"),
              HasSubstr("needs probability"));
  EXPECT_THAT(said_of_fault("intermittent: {probability: 100 %, lasts: 5 ms, for: 1 s}"),
              HasSubstr("allowed 0.1 % to 99.9 %"));
  EXPECT_THAT(said_of_fault("intermittent: {probability: 50 %, lasts: 1 us, for: 1 s}"),
              HasSubstr("comes about 500000 times; allowed 10000"));
  EXPECT_THAT(said_of_action("at: 3 s, clear: hall_line_open, line: U" + flickers),
              HasSubstr("intermittent means nothing beside clear"));
  EXPECT_THAT(said_of_action("at: 1 s, throttle: 1 V" + flickers),
              HasSubstr("intermittent means nothing beside throttle"));
}

TEST_F(LoadScenario, AWindowHangsOnEventsAtBothEnds) {
  const auto window = [&](const std::string& keys) {
    return load(replaced(small_scenario, "from: 0 s, to: 2 s", keys)).expect[0].window;
  };
  EXPECT_EQ(window("until: throttle").to_s, 0.0);
  EXPECT_EQ(window("after: key on, until: throttle, to: 20 ms").to_s, 0.02);
  EXPECT_LT(window("before: throttle").from_s, 0.0);
  EXPECT_EQ(window("before: throttle, from: 100 ms").from_s, 0.1);
  const Scenario scenario =
      load(replaced(small_scenario, "from: 0 s, to: 2 s", "before: throttle, from: 100 ms"));
  EXPECT_EQ(load(scenario.resolved_yaml).expect[0].window.from_s, 0.1);
  EXPECT_THAT(said_with("from: 0 s, to: 2 s", "before: throttle, after: key on"),
              HasSubstr("after means nothing beside before"));
  EXPECT_THAT(said_with("from: 0 s, to: 2 s", "until: phase_open"), HasSubstr("never makes"));
  EXPECT_THAT(said_with("from: 0 s, to: 2 s", "before: throttle, from: 1 ms, to: 2 ms"),
              HasSubstr("only from longer before it"));
}

TEST_F(LoadScenario, ParametersStandForValues) {
  const std::string text =
      replaced(small_scenario, "throttle: 2.6 V", "throttle: \"${top}\"") +
      "parameters: {top: {value: 2.6 V, range: 1 V to 4 V, text: at the wire}, who: {value: U}}\n";
  EXPECT_EQ(load(text).timeline[1].value, 2.6);
  const auto set = [&](const std::vector<std::string>& settings) {
    return load_scenario(folder_.write("s.yaml", text), bench_, known, settings);
  };
  const Scenario scenario = set({"top=3 V"});
  EXPECT_EQ(scenario.timeline[1].value, 3.0);
  EXPECT_EQ(scenario.overrides, std::vector<std::string>{"top=3 V"});
  EXPECT_THAT(scenario.resolved_yaml, HasSubstr("top: {value: 3 V, range: 1 V to 4 V, text: at the "
                                                "wire}"));
  EXPECT_EQ(load(scenario.resolved_yaml).resolved_yaml, scenario.resolved_yaml);
  const auto refused = [&](const std::string& setting) {
    return problems([&] { set({setting}); });
  };
  EXPECT_THAT(refused("top=5 V"),
              HasSubstr("--scenario-set top=5 V: the value of top is 5 V; allowed "
                        "1 V to 4 V"));
  EXPECT_THAT(refused("top=3 A"), HasSubstr("allowed 1 V to 4 V"));
  EXPECT_THAT(refused("tpo=3 V"), HasSubstr("Did you mean top?"));
  EXPECT_THAT(refused("top"), HasSubstr("allowed name=value"));
  EXPECT_THAT(said(replaced(text, "${top}", "${tpo}")),
              AllOf(HasSubstr("s.yaml:7"), HasSubstr("names no parameter of the scenario. Did you "
                                                     "mean top?")));
  EXPECT_THAT(said(replaced(text, "value: 2.6 V", "value: 0.5 V")),
              HasSubstr("allowed 1 V to 4 V"));
  EXPECT_THAT(said(replaced(text, "1 V to 4 V", "1 V up")), HasSubstr("allowed LEAST to MOST"));
  EXPECT_THAT(said(replaced(text, "value: 2.6 V, ", "")), HasSubstr("parameter top has no value"));
}

// By hand: 0.5 s of the part, 1 s later.
TEST_F(LoadScenario, PartsAreIncludedLater) {
  folder_.write("parts/hill.yaml",
                "parameters: {grade: {value: 6 %, range: 0 % to 20 %}}\n"
                "timeline:\n  - {at: 0.5 s, slope: \"${grade}\"}\n"
                "  - {when: speed > 1 rpm, by: 1 s, brake: on}\n"
                "expect:\n  - {measure: count, from: 0.2 s, to: 0.4 s, max: 1}\n"
                "  - {measure: count, after: slope, to: 0.4 s, max: 1}\n"
                "include: [more.yaml]\n");
  folder_.write("parts/more.yaml", "timeline: [{at: 2 s, brake: off}]\n");
  const std::string text =
      std::string(small_scenario) + "include: [{from: parts/hill.yaml, at: 1 s}]\n";
  const Scenario scenario = load(text);
  ASSERT_EQ(scenario.timeline.size(), 5U);
  EXPECT_EQ(scenario.timeline[2].label, "slope 6 %");
  EXPECT_EQ(scenario.timeline[2].at_ps, 1'500'000'000'000);
  EXPECT_EQ(scenario.timeline[4].at_ps, 3'000'000'000'000);
  EXPECT_EQ(scenario.waiting[0].condition.by_ps, 2'000'000'000'000);
  ASSERT_EQ(scenario.expect.size(), 4U);
  EXPECT_DOUBLE_EQ(scenario.expect[2].window.from_s, 1.2);
  EXPECT_DOUBLE_EQ(scenario.expect[2].window.to_s, 1.4);
  EXPECT_EQ(scenario.expect[3].window.to_s, 0.4);
  EXPECT_EQ(load(scenario.resolved_yaml).resolved_yaml, scenario.resolved_yaml);

  folder_.write("parts/hill.yaml", "timeline:\n  - {at: 0.5 s, slpoe: 6 %}\n");
  EXPECT_THAT(said(text), HasSubstr("hill.yaml:2:"));
  folder_.write("parts/hill.yaml", "include: [../s.yaml]\n");
  EXPECT_THAT(said(text), HasSubstr("hill.yaml:1:11: include ../s.yaml leads back to itself"));
  folder_.write("parts/hill.yaml", "lasts: 4 s\n");
  EXPECT_THAT(said(text), HasSubstr("unknown key lasts in a part of a scenario"));
  EXPECT_THAT(said(replaced(text, "hill.yaml", "hlil.yaml")), HasSubstr("s.yaml:11:18"));
  EXPECT_THAT(said(replaced(text, "{from: parts/hill.yaml, at: 1 s}", "{at: 1 s}")),
              HasSubstr("include needs the path of a part"));
}

TEST_F(LoadScenario, TheStartCanBeWarmAndDischarged) {
  const Scenario scenario = load(
      replaced(small_scenario, "key: off}",
               "key: off, bus_voltage: 0 V, temperature: {winding: 80 degC, junction: 60 degC}}"));
  EXPECT_EQ(scenario.start.bus_V, 0.0);
  EXPECT_DOUBLE_EQ(scenario.start.temperature_K[0].value(), 353.15);
  EXPECT_FALSE(scenario.start.temperature_K[1].has_value());
  const Scenario again = load(scenario.resolved_yaml);
  EXPECT_EQ(again.resolved_yaml, scenario.resolved_yaml);
  EXPECT_EQ(again.start.temperature_K, scenario.start.temperature_K);
  EXPECT_THAT(said_with("key: off}", "key: off, temperature: {winding: 400 degC}}"),
              HasSubstr("allowed -100 degC to 300 degC"));
  EXPECT_THAT(said_with("key: off}", "key: off, temperature: {rotor: 80 degC}}"),
              HasSubstr("unknown key rotor in start temperature"));
  bench_.drive.thermal.fitted = true;
  EXPECT_THAT(said_with("key: off}", "key: off, temperature: {junction: 80 degC}}"),
              HasSubstr("junction follows its heatsink"));
}

// By hand: from 0 % at 10 m to 6 % within 4 m: 3 % at 12 m; down at once at 20 m.
TEST_F(LoadScenario, ARoadGoesByDistance) {
  const std::string road =
      "road:\n  - {at: 0 m, slope: 0 %}\n  - {at: 10 m, slope: 6 %, over: 4 m}\n"
      "  - {at: 20 m, slope: -2 %, wind: 3 m/s}\n";
  const auto refused = [&](const std::string& from, const std::string& to, const std::string& why) {
    EXPECT_THAT(said(small_scenario + replaced(road, from, to)), HasSubstr(why)) << to;
  };
  refused("at: 0 m", "at: 0 m", "road needs a cart; the bench \"Small\" has none");
  bench_.drive.shaft.cart_mass_kg = 20.0;
  refused("at: 0 m", "at: 0 m", "wind needs load.drag_area");
  bench_.drive.shaft.drag_area_m2 = 1.0;
  const Scenario scenario = load(small_scenario + road);
  const RoadLine& slope = scenario.road.slope;
  const std::pair<double, double> expected[] = {{-5.0, 0.0},  {9.0, 0.0},   {12.0, 0.03},
                                                {15.0, 0.06}, {19.9, 0.06}, {20.0, -0.02},
                                                {99.0, -0.02}};
  for (const auto& [at_m, value] : expected) EXPECT_DOUBLE_EQ(slope.at(at_m), value) << at_m;
  EXPECT_EQ(scenario.road.wind_m_s.at(0.0), 3.0);
  EXPECT_EQ(load(scenario.resolved_yaml).resolved_yaml, scenario.resolved_yaml);
  refused("at: 20 m", "at: 14 m", "at is 14 m; allowed above 14 m, where the point before ends");
  refused("slope: 6 %, ", "", "this point says nothing; allowed slope, wind, rolling_factor, grip");
  refused("slope: 6 %", "rolling_factor: 300 %", "rolling_factor needs load.rolling_resistance");
  refused("slope: 6 %", "grip_factor: 20 %", "grip_factor needs load.coupling: slipping");
  bench_.drive.shaft.rolling_resistance = 0.02;
  bench_.drive.shaft.coupling = plant::Coupling::slipping;
  const Scenario surface = load(small_scenario + replaced(road, "slope: 6 %",
                                                          "rolling_factor: 3, "
                                                          "grip_factor: 20 %"));
  EXPECT_EQ(surface.road.rolling.at(0.0), 3.0);
  EXPECT_EQ(surface.road.grip.at(0.0), 0.2);
  EXPECT_EQ(load(surface.resolved_yaml).resolved_yaml, surface.resolved_yaml);
  refused("slope: 6 %", "grip_factor: 400 %", "allowed 2 % to 300 %");
  refused("slope: 6 %", "slope: 60 %", "allowed -50 % to 50 %");
  refused("at: 10 m", "att: 10 m", "at is missing");
  EXPECT_THAT(said(replaced(small_scenario + road, "throttle: 2.6 V", "slope: 2 %")),
              HasSubstr("the road gives slope, and so does the action \"slope 2 % over 300 ms\""));
}

TEST_F(LoadScenario, ALimitIsWrittenInItsMeasuresUnit) {
  EXPECT_THAT(said_with("max: 60 A", "max: 60 V"),
              HasSubstr("max of peak: \"60 V\" is a voltage; a current"));
  EXPECT_THAT(said_with("max: 60 A", "max: 60"), HasSubstr("has no unit"));
  EXPECT_THAT(said_with("max: 60 A", "max: 2 electrical turns"),
              HasSubstr("peak is measured in A"));
  EXPECT_EQ(load(replaced(small_scenario, "max: 60 A", "max: 60000 mA")).expect[0].max, 60.0);
  EXPECT_EQ(
      load(replaced(small_scenario, "1.2 electrical turns", "1 electrical turn")).expect[1].max,
      1.0);
  EXPECT_EQ(load(replaced(small_scenario, "1.2 electrical turns", "20 ms")).expect[1].max, 0.02);
  EXPECT_EQ(load(replaced(small_scenario, "1.2 electrical turns", "20 ms")).expect[1].unit, "s");
  EXPECT_THAT(said_with("max: 1.2 electrical turns", "min: 1 ms, max: 1.2 electrical turns"),
              HasSubstr("different units"));
}

TEST_F(LoadScenario, LimitsAndWindowsRunForwards) {
  EXPECT_THAT(said_with("max: 60 A", "min: 61 A, max: 60 A"), HasSubstr("allowed min up to max"));
  EXPECT_THAT(said_with(", max: 60 A", ""), HasSubstr("neither min nor max"));
  EXPECT_THAT(said_with("from: 0 s, to: 2 s", "from: 2 s, to: 1 s"),
              HasSubstr("only later than from"));
  EXPECT_THAT(said_with("to: 2 s", "to: 5 s"), HasSubstr("to is 5 s; allowed 0 s to lasts, 4 s"));
  EXPECT_EQ(said_with("max: 60 A", "min: 60 A, max: 60 A"), "");
}

TEST_F(LoadScenario, AnEventThatNeverHappensCannotOpenAWindow) {
  EXPECT_THAT(said_with("after: hall_line_open", "after: phase_open"),
              AllOf(HasSubstr("never makes the event \"phase_open\""), HasSubstr("key on")));
  EXPECT_EQ(said_with("after: hall_line_open", "after: key on"), "");
  EXPECT_EQ(said_with("after: hall_line_open", "after: throttle"), "");
}

TEST_F(LoadScenario, PhasesBelongToMeasuresOfPhases) {
  EXPECT_THAT(said_with("measure: delay,", "measure: delay, phase: U,"),
              HasSubstr("not measured phase by phase"));
  EXPECT_THAT(said_with("phase: V", "phase: A"), HasSubstr("phase is A; allowed U, V, W"));
}

TEST_F(LoadScenario, ListsAreLists) {
  EXPECT_THAT(said("scenario: A\nlasts: 1 s\ntimeline: {at: 1 s, key: on}\n"),
              HasSubstr("timeline is a list"));
  EXPECT_THAT(said("scenario: A\nlasts: 1 s\nexpect: none\n"), HasSubstr("expect is a list"));
  EXPECT_THAT(said("scenario: A\nlasts: 1 s\ntimeline: [key]\n"),
              HasSubstr("an action is written as"));
}

TEST_F(LoadScenario, SeedsAreWholeNumbers) {
  EXPECT_EQ(load(std::string(small_scenario) + "seed: 18446744073709551615\n").seed, ~0ULL);
  for (const char* wrong : {"-1", "1.5", "x", "18446744073709551616"})
    EXPECT_THAT(said(std::string(small_scenario) + "seed: " + wrong + "\n"),
                HasSubstr(std::string("seed is ") + wrong));
}

TEST_F(LoadScenario, WithoutAListOfMeasuresUnitsComeFromTheText) {
  const Scenario scenario =
      load_scenario(folder_.write("s.yaml", replaced(small_scenario, "60 A", "60000 mA")), bench_);
  EXPECT_EQ(scenario.expect[0].max, 60.0);
  EXPECT_EQ(scenario.expect[0].unit, "A");
}

TEST(Vocabulary, EventsAreNamedOnce) {
  Scenario scenario;
  scenario.start.key = true;
  scenario.timeline.resize(3);
  scenario.timeline[0].value = 1.0;  // key on, a second time
  scenario.timeline[1].value = 0.0;
  scenario.timeline[2] = fault_action(phase_open, {}, true);
  EXPECT_THAT(event_names(scenario),
              testing::ElementsAre("key on", "key off", "phase_open cleared"));
}

}  // namespace
}  // namespace stillrotor
