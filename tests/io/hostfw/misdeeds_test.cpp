// Firmware that does what no firmware should is reported as what it is, and the bench lives on.
#include <gmock/gmock.h>
#include <sys/wait.h>

#include <cerrno>
#include <string>

#include "io/hostfw/hostfw.hpp"
#include "io/hostfw/process_limits.hpp"
#include "tests/io/support/scripted_motor.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::milliseconds;
using ::testing::HasSubstr;

std::string firmware(const std::string& name) {
  return STILLROTOR_BUILD_DIR "/firmware/" + name + ".so";
}

struct Misdeed {
  const char* name;
  int number;  // firmware/misdeeds.c
  Health health;
  const char* told;
};

class Misdeeds : public ::testing::TestWithParam<Misdeed> {};

TEST_P(Misdeeds, AreReportedAsWhatTheyAre) {
  const Misdeed& deed = GetParam();
  if (deed.number == 6 && !hostfw::limits_memory)
    GTEST_SKIP() << "memory has no limit beside a sanitizer";
  ScriptedMotor motor({});
  // To be given 256 MiB takes some computers longer than a loop needs to be known as one.
  const double patience_s = deed.health == Health::hung ? 0.3 : 30.0;
  const auto controller = make_host_firmware({.firmware = firmware("test_misdeeds"),
                                              .patience_s = patience_s,
                                              .most_memory_bytes = 256u << 20,
                                              .settings = {}});
  motor.set_throttle(0.1 * deed.number);
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(5));
  EXPECT_EQ(controller->health(), deed.health);
  EXPECT_THAT(std::string(controller->diagnosis()), HasSubstr(deed.told));
  EXPECT_THAT(std::string(controller->diagnosis()), HasSubstr("in its timer interrupt"));
  EXPECT_EQ(motor.now(), milliseconds(5)) << "time goes on without it";

  // Its process is gone, and a new start is a fresh one.
  EXPECT_EQ(waitpid(-1, nullptr, WNOHANG), -1);
  EXPECT_EQ(errno, ECHILD);
  motor.set_throttle(0.0);
  motor.power(*controller, 0.0);
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(10));
  EXPECT_EQ(controller->health(), Health::running) << controller->diagnosis();
}

INSTANTIATE_TEST_SUITE_P(
    Every, Misdeeds,
    ::testing::Values(
        Misdeed{"LoopsForEver", 1, Health::hung, "computes for over 0.3 s and does not return"},
        Misdeed{"CallsAbort", 2, Health::crashed, "called abort()"},
        Misdeed{"WritesOutOfBounds", 3, Health::crashed, "touched memory that is not its own"},
        Misdeed{"DutyIsNoNumber", 4, Health::crashed, "set the duty of leg V to"},
        Misdeed{"AllocatesWithoutEnd", 6, Health::crashed, "grown to the limit of 256 MiB"},
        Misdeed{"Exits", 7, Health::crashed, "exit status 3"},
        Misdeed{"DividesByZero", 8, Health::crashed, "divided an integer by zero"},
        Misdeed{"RunsOutOfStack", 9, Health::crashed, "touched memory that is not its own"},
        Misdeed{"WaitsForEver", 10, Health::hung, "waits for over 3 s"},
        Misdeed{"PrintsWithoutEnd", 11, Health::crashed, "printed more than 4 MiB"},
        Misdeed{"SpeaksWithoutEnd", 12, Health::hung, "does not return"},
        Misdeed{"DrivesGatesBesideThePwm", 13, Health::crashed, "drove gate 0 by hand"},
        Misdeed{"DrivesWhatIsNotItsOwn", 14, Health::crashed, "drove line 6"},
        Misdeed{"BreaksItsBoard", 15, Health::crashed, "touched memory that is not its own"},
        Misdeed{"Asserts", 16, Health::crashed, "assertion failed: duty < 1"}),
    [](const auto& deed) { return deed.param.name; });

TEST(MisdeedsOfGates, BothSwitchesOnComeOutAsOrdered) {
  ScriptedMotor motor({});
  const auto controller =
      make_host_firmware({.firmware = firmware("test_misdeeds"), .settings = {}});
  motor.set_throttle(0.5);
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1) + std::chrono::microseconds(5));
  EXPECT_EQ(controller->health(), Health::running) << controller->diagnosis();
  EXPECT_TRUE(motor.gate(line::gate_UH));
  EXPECT_TRUE(motor.gate(line::gate_UL));
}

struct Unfit {
  const char* name;
  const char* file;
  const char* told;
};

class UnfitFirmware : public ::testing::TestWithParam<Unfit> {};

TEST_P(UnfitFirmware, IsRefusedAtSetUpWithTheRemedy) {
  try {
    (void)make_host_firmware({.firmware = GetParam().file, .settings = {}});
    FAIL() << "accepted";
  } catch (const ConfigError& error) {
    EXPECT_EQ(error.path, "controller.firmware");
    EXPECT_THAT(error.what(), HasSubstr(GetParam().told));
    EXPECT_THAT(error.what(), HasSubstr(GetParam().file));
  }
}

INSTANTIATE_TEST_SUITE_P(
    Every, UnfitFirmware,
    ::testing::Values(
        Unfit{"NoObject", STILLROTOR_SOURCE_DIR "/README.md", "cannot be loaded"},
        Unfit{"NoTable", STILLROTOR_BUILD_DIR "/firmware/test_no_table.so", "exports no"},
        Unfit{"NoReset", STILLROTOR_BUILD_DIR "/firmware/test_no_reset.so", "has no reset()"},
        Unfit{"OtherVersion", STILLROTOR_BUILD_DIR "/firmware/test_newer.so", "version 3"}),
    [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace stillrotor::io::test
