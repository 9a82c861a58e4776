// What `check` says of wires, as a user reads it.
#include <gmock/gmock.h>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;
using testing::Not;

class CheckCommand : public ProgramTest {};

const std::string mid = STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid.yaml";

TEST_F(CheckCommand, RefusesMoreThanPlainGpioCanDo) {
  const Answer answer =
      call({"check", mid, "--as-wired", "gpiod", "--set", "controller.expects.pwm_frequency=20 kHz",
            "--set", "controller.expects.current_loop=1 kHz"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.out, HasSubstr("833 Hz PWM"));    // 10,000 edges/s over 12
  EXPECT_THAT(answer.out, HasSubstr("lose 117 deg"));  // 360 deg x 1 kHz x 325 us
  EXPECT_THAT(answer.out, HasSubstr("REFUSED"));
}

// (2 / sqrt 3) (72 V x 3 us / 187.5 uH) sqrt(f_s tau / 2); L between 150 and 250 uH as 1/L, R of
// winding and switch 28 mohm: tau 6.70 ms; under control 159 us. By hand 10.9 A and 1.68 A.
TEST_F(CheckCommand, SaysWhatTheStampsJitterCostsInCurrent) {
  const Answer answer =
      call({"check", mid, "--as-wired", "gpiod", "--set", "controller.expects.pwm_frequency=20 kHz",
            "--set", "controller.expects.current_loop=1 kHz"});
  EXPECT_THAT(answer.out,
              HasSubstr("Stamps that jitter by 3 us rms: 11 A rms of error in each phase current, "
                        "1.7 A where a current loop of 1000 Hz corrects what it sees."));
  // A thirtieth of the jitter.
  EXPECT_THAT(call({"check", mid, "--as-wired", "polled"}).out,
              HasSubstr("Stamps that jitter by 0.1 us rms: 0.23 A"));
  EXPECT_THAT(call({"check", mid}).out, Not(HasSubstr("Stamps that jitter")));
}

// 360 deg x 1 kHz x (300 us of half a hold and a cycle + 131 us of the bench's own converter).
TEST_F(CheckCommand, RefusesAFastCurrentLoopThroughTheBenchsOwnConverter) {
  const std::string volts =
      STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-wired-volts.yaml";
  const std::string drive = STILLROTOR_SOURCE_DIR "/configs/scenarios/first-drive.yaml";
  const Answer fits = call({"check", volts, drive});
  EXPECT_EQ(fits.status, 0) << fits.err << "its throttle is the scenario's";
  EXPECT_THAT(fits.out, HasSubstr("dac_a output 0 (ad5668)"));
  const Answer answer = call({"check", volts, "--set", "controller.expects.current_loop=1 kHz"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.out, HasSubstr("volts by spidev ad5668"));
  EXPECT_THAT(answer.out,
              HasSubstr("the current loop would lose 155 deg of phase at its crossover"));
  EXPECT_THAT(answer.out, HasSubstr("64.4 Hz crossover"));
  EXPECT_THAT(answer.out, HasSubstr("REFUSED"));
}

TEST_F(CheckCommand, GivesFilteredGatesTheirGrade) {
  const Answer answer =
      call({"check", STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-averages.yaml"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("Grade b: gates are averages, 1.62 ms behind their wires."));
  EXPECT_THAT(answer.out, Not(HasSubstr("Stamps that jitter")));
}

TEST_F(CheckCommand, RefusesToHoldEdgesForLongerThanTheDelay) {
  const Answer answer =
      call({"check", mid, "--as-wired", "polled", "--set", "cycle.gates.averaged=on"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("cycle.delay: delay is 50 us; allowed with these cycle.gates: "
                                    "125 us"));
  EXPECT_EQ(answer.out, "");
}

TEST_F(CheckCommand, OfASimulatedControllerAsksNothingOfWires) {
  const Answer answer = call({"check", mid});
  EXPECT_EQ(answer.status, 0);
  EXPECT_THAT(answer.out, Not(HasSubstr("What the wires are asked for")));
}

TEST_F(CheckCommand, DrawsTheWiresWholeOrNotAtAll) {
  EXPECT_EQ(call({"check", mid, "--wiring", "wires.svg"}).status, 0);
  const std::string drawn = read_text(path("wires.svg"));
  EXPECT_THAT(drawn, HasSubstr("power stage stays disconnected"));
  EXPECT_THAT(drawn, HasSubstr("</svg>"));
  const Answer answer = call({"check", mid, "--wiring", "nowhere/wires.svg"});
  EXPECT_NE(answer.status, 0);
  EXPECT_THAT(answer.err, HasSubstr("nowhere/wires.svg"));
}

}  // namespace
}  // namespace stillrotor::test
