// A controller behind a co-processor that is a program of its own, over a Unix socket, by the wall
// clock. How busy this computer is decides what comes out; these tests ask only for what does not.
#include <gmock/gmock.h>
#include <spawn.h>

#include <nlohmann/json.hpp>

#include "tests/emulator/cli/program_runner.hpp"

extern char** environ;

namespace stillrotor::test {
namespace {

using testing::AnyOf;
using testing::HasSubstr;

const std::string benches = STILLROTOR_SOURCE_DIR "/configs/benches/";
const std::string link_bench = benches + "orchard-cart-mid-link.yaml";

/// The chip's program while it lives.
class Chip {
 public:
  explicit Chip(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), STILLROTOR_BUILD_DIR "/stillrotor_coprocessor");
    std::vector<char*> argv;
    for (auto& argument : arguments) argv.push_back(argument.data());
    argv.push_back(nullptr);
    posix_spawn(&child_, argv[0], nullptr, nullptr, argv.data(), environ);
  }
  ~Chip() { stop(); }
  int stop() {
    if (child_ <= 0) return status_;
    kill(child_, SIGTERM);
    waitpid(child_, &status_, 0);
    child_ = 0;
    return status_;
  }

 private:
  pid_t child_ = 0;
  int status_ = -1;
};

class Link : public ProgramTest {
 protected:
  std::string address() const { return "unix:" + path("chip").string(); }
  std::string at_address() const { return "controller.link.address=" + address(); }
  /// Patient: a busy computer is no broken wire.
  std::vector<std::string> run(const std::string& scenario) const {
    std::vector<std::string> all{"run", link_bench, scenario, "--out", "kept", "--allow-soft"};
    for (const char* set : {"controller.link.silence=1 s", "controller.link.broken_after=20 s",
                            "controller.link.patience=60 s", "controller.link.warm_up=500 ms",
                            "controller.link.lead=30 ms", "cycle.period=5 ms", "cycle.delay=60 ms"})
      all.insert(all.end(), {"--set", set});
    all.insert(all.end(), {"--set", at_address()});
    return all;
  }
};

TEST_F(Link, RunsOverASocketFromItsGateEdgesToARecord) {
  Chip chip(
      {link_bench, "--controller", benches + "orchard-cart-mid.yaml", "--address", address()});
  // Throttle when the chip's outputs have long been live: a controller that finds it open at its
  // start stays off.
  write_text(path("drive.yaml"),
             "scenario: Drive off\nlasts: 1.5 s\nstart: {speed: 0 rpm, key: on}\ntimeline:\n"
             "  - {at: 0.5 s, throttle: 2.2 V, over: 20 ms}\n");
  const Answer answer = call(run(path("drive.yaml").string()));
  EXPECT_THAT(answer.status, AnyOf(0, 4)) << answer.err;  // 4: this computer let it fall behind
  const auto run_json = nlohmann::json::parse(read_text(path("kept/run.json")));
  const auto& far = run_json["cycle"]["co_processor"];
  EXPECT_EQ(far["chip"]["tick_MHz"], 25.0);
  EXPECT_GT(far["link"]["frames"].get<int>(), 100);
  if (answer.status != 0) return;
  EXPECT_GT(far["link"]["edges"].get<int>(), 1000);
  EXPECT_GT(far["mirror"]["corrections"].get<int>(), 100);
  EXPECT_THAT(answer.out, HasSubstr("Co-processor:"));
  const auto result = nlohmann::json::parse(read_text(path("kept/result.json")));
  EXPECT_EQ(result["clock"], "wall");
  EXPECT_EQ(chip.stop(), 0);
}

TEST_F(Link, CheckAsksTheChipAndPrintsTheThirdGrade) {
  Chip chip(
      {link_bench, "--controller", benches + "orchard-cart-mid.yaml", "--address", address()});
  const Answer answer = call({"check", link_bench, "--connect", "--set", at_address(), "--set",
                              "controller.link.patience=60 s"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("answers: 25 MHz, stamps of 40 ns"));
  EXPECT_THAT(answer.out, HasSubstr("as the chip says of itself"));
  EXPECT_THAT(answer.out, HasSubstr("Grade c"));
}

TEST_F(Link, CheckWithoutAChipSaysWhatIsDeclared) {
  const Answer answer = call({"check", link_bench});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("Grade c"));
  EXPECT_THAT(answer.out, HasSubstr("declared in controller.link"));
  EXPECT_THAT(answer.out, HasSubstr("It fits."));
}

TEST_F(Link, CheckRefusesWhatDoesNotFit) {
  const Answer slow =
      call({"check", link_bench, "--set", "controller.link.address=serial:/dev/ttyS0@115200"});
  EXPECT_EQ(slow.status, 2);
  EXPECT_THAT(slow.out, HasSubstr("REFUSED"));
  EXPECT_THAT(slow.out, HasSubstr("a faster line"));
  const Answer fast = call({"check", link_bench, "--set", "controller.expects.current_loop=3 kHz"});
  EXPECT_EQ(fast.status, 2);
  EXPECT_THAT(fast.out, HasSubstr("a shorter step"));
}

TEST_F(Link, WithoutAChipIsRefusedAndLeavesNoFolder) {
  const Answer answer = call({"run", link_bench, scenario("1 s"), "--out", "kept", "--allow-soft",
                              "--set", at_address(), "--set", "controller.link.patience=100 ms"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("no co-processor has answered"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(Link, ScenariosThatWouldHappenInsideTheChipAreRefused) {
  write_text(path("inside.yaml"),
             "scenario: Inside\nlasts: 1 s\ntimeline:\n  - {at: 0.5 s, supply: off}\n");
  const Answer answer = call({"check", link_bench, path("inside.yaml").string()});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("inside the co-processor"));
}

TEST_F(Link, CalibrationAndArrangementAreOfLinesOnly) {
  EXPECT_THAT(call({"check", link_bench, "--arrangement"}).err, HasSubstr("backend is link"));
  EXPECT_THAT(call({"check", link_bench, "--calibrate", "lines.yaml"}).err,
              HasSubstr("backend is link"));
}

}  // namespace
}  // namespace stillrotor::test
