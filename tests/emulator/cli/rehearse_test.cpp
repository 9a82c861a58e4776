// run --rehearse, as a user calls it.
#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::ContainsRegex;
using testing::HasSubstr;

class RehearseCommand : public ProgramTest {};

constexpr const char* drives = "  - {measure: speed_max, min: 1 rpm}\n";

TEST_F(RehearseCommand, PrintsEveryMeasureBesideTheExactRunAndKeepsBothRecords) {
  const Answer answer = call({"run", bench(), scenario("400 ms", drives), "--rehearse", "gpio-v1",
                              "--out", "kept", "--quiet"});
  EXPECT_EQ(answer.status, 0) << answer.err;  // the exact run decides
  EXPECT_THAT(answer.out, HasSubstr("Rehearsed on gpio-v1"));
  EXPECT_THAT(answer.out, ContainsRegex("measure +exact +rehearsed +difference +of exact"));
  EXPECT_THAT(answer.out, ContainsRegex("phase_current_peak +[0-9.]+ A +[0-9.]+ A"));
  EXPECT_THAT(answer.out, HasSubstr("edges never came through"));  // 16 kHz PWM asks for more
  EXPECT_THAT(answer.out, HasSubstr("On these wires the verdict would be"));
  const auto exact = nlohmann::json::parse(read_text(path("kept/result.json")));
  const auto rehearsed = nlohmann::json::parse(read_text(path("kept/rehearsed/result.json")));
  EXPECT_EQ(exact["verdict"], "PASS");
  EXPECT_FALSE(exact.contains("rehearsal"));
  EXPECT_EQ(rehearsed["rehearsal"]["route"], "gpio-v1");
  const auto both = nlohmann::json::parse(read_text(path("kept/rehearsal.json")));
  EXPECT_EQ(both["verdict"]["exact"], "PASS");
  EXPECT_EQ(both["verdict"]["rehearsed"], rehearsed["verdict"]);
  EXPECT_GT(both["measures"].size(), 10U);
  EXPECT_TRUE(fs::exists(path("kept/rehearsed/record.h5")));
}

TEST_F(RehearseCommand, AFineRouteChangesLittleAndTheSameCallGivesTheSameBytes) {
  const std::string drive_off = scenario("400 ms", drives);
  for (const char* out : {"one", "two"})
    EXPECT_EQ(call({"run", bench(), drive_off, "--rehearse", "polled", "--out", out}).status, 0);
  EXPECT_EQ(read_text(path("one/rehearsal.json")), read_text(path("two/rehearsal.json")));
  EXPECT_EQ(read_text(path("one/rehearsed/result.json")),
            read_text(path("two/rehearsed/result.json")));
  const auto both = nlohmann::json::parse(read_text(path("one/rehearsal.json")));
  EXPECT_EQ(both["verdict"]["rehearsed"], "PASS");
  for (const auto& row : both["measures"])
    if (row["name"] == "speed_max") {
      EXPECT_NEAR(row["rehearsed"].get<double>() / row["exact"].get<double>(), 1.0, 0.1);
    }
}

// A firmware on the simulated microcontroller stands behind the wires as well.
TEST_F(RehearseCommand, TakesEverySimulatedController) {
  const std::string benches = STILLROTOR_SOURCE_DIR "/configs/benches/";
  const std::string drive_off = scenario("50 ms");
  for (const char* name : {"orchard-cart-hub", "orchard-cart-mid", "orchard-pump"}) {
    const Answer answer = call({"run", benches + name + ".yaml", drive_off, "--rehearse", "polled",
                                "--out", name, "--quiet"});
    EXPECT_EQ(answer.status, 0) << name << answer.err;
    EXPECT_THAT(answer.out, HasSubstr("Rehearsed on polled")) << name;
  }
  const std::string replay = benches + "../scenarios/replay.yaml";
  const Answer answer = call({"run", benches + "orchard-cart-capture.yaml", replay, "--rehearse",
                              "sampled-1us", "--out", "replay", "--quiet"});
  EXPECT_THAT(answer.out, HasSubstr("Rehearsed on sampled-1us")) << answer.err;
}

TEST_F(RehearseCommand, RefusesUnknownRoutesAndRealWiresAndLeavesNoFolder) {
  Answer answer =
      call({"run", bench(), scenario("1 s"), "--rehearse", "nothing.yaml", "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("allowed gpio-v1, gpio-v2, polled"));
  const std::string wired = STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-wired.yaml";
  write_text(path("still.yaml"), "scenario: Still\nlasts: 1 s\nstart: {key: on}\n");
  answer =
      call({"run", wired, path("still.yaml").string(), "--rehearse", "gpio-v2", "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("controller.backend"));
  answer =
      call({"run", bench(), scenario("1 s"), "--rehearse", "gpio-v2", "--set",
            "cycle.gates.overlap_tolerance=10 us", "--set", "cycle.delay=0 s", "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("cycle.delay"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

}  // namespace
}  // namespace stillrotor::test
