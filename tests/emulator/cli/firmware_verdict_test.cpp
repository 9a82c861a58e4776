// The main job through the real program: a real firmware binary drives the shipped hub bench, and
// the verdict follows what the firmware does. Each failing case stands beside one that must not
// fail.
#include <gmock/gmock.h>

#include <cmath>

#include <nlohmann/json.hpp>

#include "emulator/record/record_reader.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using ::testing::ContainsRegex;
using ::testing::HasSubstr;

constexpr const char* firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_six_step.elf";
constexpr const char* wrong_hall_firmware =
    STILLROTOR_BUILD_DIR "/firmware/orchard_six_step_wrong_hall.elf";

class Firmware : public ProgramTest {
 protected:
  void SetUp() override {
    if (!fs::exists(firmware)) GTEST_SKIP() << "no firmware was built: avr-gcc is not installed";
    const std::string backends = call({"list", "backends"}).out;
    if (::testing::Matches(ContainsRegex("mcu +virtual +no"))(backends))
      GTEST_SKIP() << "this build lacks the simulated microcontroller";
  }

  static std::string hub() {
    return STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub.yaml";
  }

  /// Key, throttle, two seconds on the flat; `more` are timeline entries, `expect` limits.
  std::string drive(const std::string& more, const std::string& expect) {
    const fs::path file = path("drive.yaml");
    write_text(file, R"(scenario: Drive
lasts: 2.5 s
start: {speed: 0 rpm, key: off}
timeline:
  - {at: 50 ms, key: on}
  - {at: 200 ms, throttle: 2.6 V, over: 200 ms}
)" + more + "expect:\n" + expect);
    return file.string();
  }

  Answer run(const std::string& scenario, std::vector<std::string> set = {}) {
    return run_on(hub(), scenario, std::move(set));
  }
  /// The shipped fan without sensors, in its scenario.
  Answer blow(std::vector<std::string> set = {}) {
    const std::string configs = STILLROTOR_SOURCE_DIR "/configs/";
    return run_on(configs + "benches/orchard-fan-sensorless.yaml",
                  configs + "scenarios/fan-without-sensors.yaml", std::move(set));
  }
  Answer run_on(const std::string& bench, const std::string& scenario,
                std::vector<std::string> set) {
    std::vector<std::string> arguments{"run", bench, scenario, "--out", "kept"};
    for (auto& one : set) arguments.insert(arguments.end(), {"--set", std::move(one)});
    return call(std::move(arguments));
  }
  nlohmann::json result() { return nlohmann::json::parse(read_text(path("kept/result.json"))); }
};

const char* const hall_breaks = "  - {at: 1.5 s, fault: hall_line_open, line: U}\n";
const char* const still_drives = "  - {measure: torque_mean, from: 1.9 s, to: 2.4 s, min: 5 Nm}\n";
const char* const drives_forward = "  - {measure: speed_mean, from: 1 s, to: 1.4 s, min: 5 rpm}\n";

TEST_F(Firmware, LetsGoWhenAHallWireBreaks) {
  const Answer answer = run(
      drive(hall_breaks,
            "  - {measure: time_to_gates_off, after: hall_line_open, max: 1.2 electrical turns}\n" +
                std::string(drives_forward)));
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
  bool said_so = false;
  for (const RecordedMark& mark : RecordReader(path("kept")).marks())
    said_so = said_so || (mark.kind == MarkKind::text && mark.detail == "hall invalid");
  EXPECT_TRUE(said_so);
}

TEST_F(Firmware, KeepsItsTorqueWithoutTheFaultAndNotWithIt) {
  EXPECT_EQ(run(drive("", still_drives)).status, 0);
  fs::remove_all(path("kept"));
  EXPECT_EQ(run(drive(hall_breaks, still_drives)).status, 1);
}

TEST_F(Firmware, WithAWrongHallTableFails) {
  EXPECT_EQ(run(drive("", drives_forward)).status, 0);
  fs::remove_all(path("kept"));
  const Answer answer =
      run(drive("", drives_forward), {"controller.firmware=" + std::string(wrong_hall_firmware)});
  EXPECT_EQ(answer.status, 1) << answer.out << answer.err;
  EXPECT_EQ(result()["verdict"], "FAIL");
}

TEST_F(Firmware, FailsALimitOfOneAmpere) {
  const Answer answer = run(drive("", "  - {measure: phase_current_peak, max: 1 A}\n"));
  EXPECT_EQ(answer.status, 1) << answer.out << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("phase_current_peak"));
}

TEST_F(Firmware, RunsTwiceToTheSameSignalsAsElfOrHexAndOtherwiseWithAnotherWinding) {
  const std::string scenario = drive("", drives_forward);
  const auto hash = [&](std::vector<std::string> set) {
    fs::remove_all(path("kept"));
    run(scenario, std::move(set));
    return result()["signals_xxh128"].get<std::string>();
  };
  const std::string first = hash({});
  EXPECT_EQ(first.size(), 32U);
  EXPECT_EQ(hash({}), first);
  EXPECT_EQ(hash({"controller.firmware=" STILLROTOR_BUILD_DIR "/firmware/orchard_six_step.hex"}),
            first);
  EXPECT_NE(hash({"machine.winding_resistance=120 mohm"}), first);
}

// The ATmega8 looks at its Halls every 16 us where the other part has an interrupt, a hundredth of
// a step here; its PWM and its converter are the same. Tolerance: 1 % of speed and torque.
TEST_F(Firmware, DrivesTheSameOnTheOtherPart) {
  const std::string limits =
      "  - {measure: speed_mean, from: 2 s, to: 2.4 s, min: 1 rpm}\n"
      "  - {measure: torque_mean, from: 1 s, to: 2.4 s, min: 0 Nm}\n"
      "  - {measure: time_to_gates_off, after: hall_line_open, max: 1.2 electrical turns}\n"
      "  - {measure: shoot_through_count, max: 0}\n";
  const std::string scenario = drive("  - {at: 2.42 s, fault: hall_line_open, line: U}\n", limits);
  const auto run_on = [&](const std::string& bench) {
    fs::remove_all(path("kept"));
    const Answer answer = call({"run", bench, scenario, "--out", "kept"});
    EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
    return result();
  };
  const auto value = [](const nlohmann::json& result, std::string_view name) {
    for (const auto& measure : result["measures"])
      if (measure["name"] == name) return measure["value"].get<double>();
    return std::nan("");
  };
  const auto usual = run_on(hub());
  const auto other = run_on(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-atmega8.yaml");
  for (const char* measure : {"speed_mean", "torque_mean"}) {
    const double expected = value(usual, measure);
    EXPECT_GT(expected, 1.0) << measure;
    EXPECT_NEAR(value(other, measure), expected, 0.01 * expected) << measure;
  }
}

// With a phase open two of six steps give no torque; the other two phases carry opposite currents.
TEST_F(Firmware, DrivesOnTwoPhasesOnlyAfterOneHasParted) {
  EXPECT_EQ(run(drive("  - {at: 1.5 s, fault: phase_open, line: U}\n",
                      "  - {measure: phase_current_peak, phase: U, from: 1.51 s, max: 1 mA}\n"))
                .status,
            0);
  fs::remove_all(path("kept"));
  EXPECT_EQ(run(drive("", "  - {measure: phase_current_peak, phase: U, from: 1.51 s, max: 1 mA}\n"))
                .status,
            1);
}

TEST_F(Firmware, WithoutSensorsPasses) {
  const Answer answer = blow();
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
}

TEST_F(Firmware, WithoutSensorsFailsWithTwoSenseLinesSwapped) {
  EXPECT_EQ(blow({"harness.channels.phase_voltage.V=ADC2", "harness.channels.phase_voltage.W=ADC1"})
                .status,
            1);
}

TEST_F(Firmware, WithoutSensorsFailsWithTheComparatorsInputsExchanged) {
  EXPECT_EQ(blow({"controller.firmware=${build}/firmware/orchard_sensorless_inverted.elf"}).status,
            1);
}

}  // namespace
}  // namespace stillrotor::test
