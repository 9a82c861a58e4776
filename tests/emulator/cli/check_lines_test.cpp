// What `check` does at the lines, as a user meets it: plans, consent, refusals, and the arrangement
// of simulated controllers.
#include <gmock/gmock.h>

#include <chrono>
#include <thread>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::AllOf;
using testing::HasSubstr;

const std::string configs = STILLROTOR_SOURCE_DIR "/configs/benches/";
const std::string wired = configs + "orchard-cart-hub-wired.yaml";

class CheckLines : public ProgramTest {
 protected:
  /// Nobody sits at a terminal.
  Answer ask(std::vector<std::string> arguments, const std::function<void(pid_t)>& meanwhile = {}) {
    return call(std::move(arguments), meanwhile,
                [] { dup2(open("/dev/null", O_RDONLY), STDIN_FILENO); });
  }

  /// A bench on registers that are a file: nothing joins its lines.
  std::string bench_on_a_file() {
    write_text(path("registers.bin"), std::string(4096, '\0'));
    std::string bench = read_text(wired);
    const auto replace = [&bench](const std::string& from, const std::string& to) {
      const std::size_t at = bench.find(from);
      ASSERT_NE(at, std::string::npos) << from;
      bench.replace(at, from.size(), to);
    };
    replace("backend: gpiod\n  capture_core: 3",
            "backend: polled\n  capture_priority: 0\n"
            "  registers: {file: registers.bin, level: 0, output: 4}");
    replace("core: 2, lead", "priority: 1, lead");
    for (std::size_t at; (at = bench.find("chip: gpiochip0, ")) != std::string::npos;)
      bench.erase(at, 17);
    for (std::size_t at; (at = bench.find("{from: ../")) != std::string::npos;)
      bench.replace(at, 10, "{from: " STILLROTOR_SOURCE_DIR "/configs/");
    const std::size_t ends = bench.find("  stop_circuit:");
    bench.erase(ends);  // and what follows: nobody closes it here
    for (std::size_t at; (at = bench.find(", safe: high")) != std::string::npos;)
      bench.replace(at, 12, ", safe: low");
    write_text(path("on-a-file.yaml"), bench);
    return path("on-a-file.yaml");
  }
};

TEST_F(CheckLines, PrintsThePlanAndTouchesNothingWithoutConsent) {
  const Answer answer = ask({"check", wired, "--calibrate", "lines.yaml"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.out,
              AllOf(HasSubstr("Unplug the controller"), HasSubstr("hall.U"),
                    HasSubstr("gpiochip0 line 20"), HasSubstr("gates.WL has no partner")));
  EXPECT_THAT(answer.err, HasSubstr("--wires-are-set"));
  EXPECT_FALSE(fs::exists(path("lines.yaml")));
}

TEST_F(CheckLines, RefusesToCalibrateWhatHasNoLines) {
  const Answer answer = ask({"check", bench(), "--calibrate", "lines.yaml", "--wires-are-set"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("allowed with --calibrate: gpiod, polled"));
}

TEST_F(CheckLines, RefusesAPlaceForTheFileBeforeAnythingElse) {
  const Answer answer = ask({"check", wired, "--calibrate", "nowhere/lines.yaml"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("there is no folder nowhere"));
}

TEST_F(CheckLines, NamesTheWiresThatAreNotJoinedAndWritesNothing) {
  const Answer answer = ask(
      {"check", bench_on_a_file(), "--calibrate", "lines.yaml", "--wires-are-set", "--allow-soft"});
  EXPECT_EQ(answer.status, 2) << answer.err;
  EXPECT_THAT(answer.err, AllOf(HasSubstr("hall.U to gates.UH: nothing arrives"),
                                HasSubstr("key to gates.WH: nothing arrives"),
                                HasSubstr("nothing was measured or written")));
  EXPECT_FALSE(fs::exists(path("lines.yaml")));
}

TEST_F(CheckLines, InterruptedItLeavesTheOutputsSafe) {
  const std::string bench = bench_on_a_file();
  const fs::path registers = path("registers.bin");
  const auto word = [&] {
    const std::string bytes = read_text(registers);
    return static_cast<unsigned char>(bytes[6]);  // bits 16 to 23 of the output register
  };
  const Answer answer =
      ask({"check", bench, "--calibrate", "lines.yaml", "--wires-are-set", "--allow-soft"},
          [&](pid_t child) {
            // Halls U and V are bits 20 and 21, inverted: their safe level, low, stands as 1.
            for (int k = 0; k < 2000 && word() != 0x30; ++k)
              std::this_thread::sleep_for(std::chrono::milliseconds(1));
            EXPECT_EQ(word(), 0x30);
            kill(child, SIGINT);
          });
  EXPECT_EQ(answer.status, 130) << answer.err;
  EXPECT_EQ(word(), 0x30);
  EXPECT_THAT(answer.err, HasSubstr("no calibration was written"));
  EXPECT_FALSE(fs::exists(path("lines.yaml")));
}

TEST_F(CheckLines, FindsTheFirmwareWiredToDriveForward) {
  const Answer answer = ask({"check", configs + "orchard-cart-hub.yaml", "--arrangement"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("3 drive forward, 3 backwards, 12 at half the torque, 18 at "
                                    "none in the mean."));
  EXPECT_THAT(answer.out, HasSubstr("it drives forward at full torque"));
}

TEST_F(CheckLines, FindsTheFirmwareWithAWrongTableToDriveBackwards) {
  const Answer answer = ask({"check", configs + "orchard-cart-hub.yaml", "--arrangement", "--set",
                             "controller.firmware=" STILLROTOR_BUILD_DIR
                             "/firmware/orchard_six_step_wrong_hall.elf"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("It drives backwards, at full torque"));
}

TEST_F(CheckLines, NamesSwappedHallsAndSwappedSwitches) {
  const Answer halls =
      ask({"check", bench(), "--arrangement", "--set", "controller.belief.hall_permutation=2"});
  EXPECT_EQ(halls.status, 2);
  EXPECT_THAT(halls.err, HasSubstr("To drive forward: exchange Hall U and Hall V."));
  // The firmware's own pins, of phase V exchanged in the bench: VH is PD5, VL PD4.
  const Answer switches = ask({"check", configs + "orchard-cart-hub.yaml", "--arrangement", "--set",
                               "harness.gates.VH=PD4", "--set", "harness.gates.VL=PD5"});
  EXPECT_EQ(switches.status, 2);
  EXPECT_THAT(switches.err, HasSubstr("VH and VL are swapped"));
}

TEST_F(CheckLines, AsksForConsentBeforeALiveControllerIsDriven) {
  const Answer answer = ask({"check", wired, "--arrangement"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.out, HasSubstr("No power stage and no motor"));
  EXPECT_THAT(answer.err, HasSubstr("--wires-are-set"));
}

TEST_F(CheckLines, AsksNoAveragesHowTheyAreArranged) {
  const Answer answer = ask(
      {"check", configs + "orchard-cart-hub-averages.yaml", "--arrangement", "--wires-are-set"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("the gates come in as averages"));
}

TEST_F(CheckLines, OneThingAtATime) {
  EXPECT_EQ(ask({"check", wired, "--arrangement", "--calibrate", "x.yaml"}).status, 2);
  EXPECT_EQ(ask({"check", wired, "--arrangement", "--wiring", "x.svg"}).status, 2);
}

TEST_F(CheckLines, TheBudgetUsesWhatWasMeasuredAndSaysSo) {
  const std::string bench = bench_on_a_file();
  std::string text = read_text(bench);
  text.replace(text.find("backend: polled"), 15, "backend: polled\n  calibration: lines.yaml");
  write_text(bench, text);
  std::string wires;
  for (const auto& [line, bit] : std::vector<std::pair<std::string, int>>{{"gates.UH", 5},
                                                                          {"gates.UL", 6},
                                                                          {"gates.VH", 12},
                                                                          {"gates.VL", 13},
                                                                          {"gates.WH", 16},
                                                                          {"gates.WL", 19},
                                                                          {"hall.U", 20},
                                                                          {"hall.V", 21},
                                                                          {"hall.W", 26},
                                                                          {"key", 17},
                                                                          {"brake", 27}})
    wires += "  " + line + ": bit " + std::to_string(bit) + "\n";
  write_text(
      path("lines.yaml"),
      "calibration: x\ndate: 2026-11-26T05:00:00Z\nkernel: Linux 6.1.0\nreal_time: on\n"
      "backend: polled\nroute: mapped register, polled\nlimits: {edges_in: 6000 /s, "
      "more_not_sent: off, stamp_jitter: 0.2 us, write: 2 us, loss: all_shown}\n"
      "skew: {gates.UH: {by: hall.U, rise: 0.1 us, fall: 0.1 us, jitter: 0.2 us}}\nwires:\n" +
          wires);
  const Answer answer = ask({"check", bench});
  EXPECT_EQ(answer.status, 2) << answer.err;  // 12 x 800 Hz are 9,600 edges/s
  EXPECT_THAT(answer.out, AllOf(HasSubstr("limits are measured on 2026-11-26 by loop-back"),
                                HasSubstr("500 Hz PWM")));  // 6,000 / 12
}

}  // namespace
}  // namespace stillrotor::test
