// A controller behind a co-processor, from its gate edges to the verdict, in virtual time: what a
// good link, one that loses frames and one that breaks do to a run.
#include "tests/emulator/coprocessor/linked_run.hpp"

#include <gmock/gmock.h>

namespace stillrotor::test {
namespace {

using ::testing::HasSubstr;

std::string drive(const std::string& lasts, const std::string& expect) {
  return "scenario: Drive\nlasts: " + lasts +
         "\nstart: {speed: 0 rpm, key: off}\ntimeline:\n"
         "  - {at: 0.1 s, key: on}\n"
         "  - {at: 0.3 s, throttle: 2 V, over: 100 ms}\n"
         "expect:\n" +
         expect;
}
constexpr const char* drives = "  - {measure: speed_mean, from: 1.2 s, to: 1.4 s, min: 100 rpm}\n";

TEST(LinkedRun, DrivesAndIsJudgedOverAGoodLink) {
  LinkedRun run(drive("1.5 s", std::string(drives) +
                                   "  - {measure: shoot_through_count, max: 0}\n"
                                   "  - {measure: phase_current_peak, max: 120 A}\n"));
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.end_ps, run.scenario.lasts_ps);
  EXPECT_EQ(run.judgement.verdict, Verdict::PASS) << run.judgement.reason;
  EXPECT_EQ(run.link.lost_edges, 0U);
  EXPECT_EQ(run.link.falls, 0U);
  EXPECT_EQ(run.counts.gaps, 0U);
  EXPECT_GT(run.mirror.corrections, 1300U);
  EXPECT_EQ(run.mirror.distrusted, 0U);
  EXPECT_FALSE(run.wire.chip.driven()) << "safe behind the end";
  // The plant stands 6 ms behind, the key does not: a turn of 1 ms, the next frame, its way.
  EXPECT_GE(run.key_seen_ns, run.at_ns(0.1));
  EXPECT_LE(run.key_seen_ns, run.at_ns(0.1) + 3'000'000);
}

TEST(LinkedRun, WhoseThrottleWireIsMissingFailsAndIsNotInvalid) {
  LinkedRun run(drive("1.5 s", drives), [](io::ChipSettings& chip) { chip.channels[4].at = {}; });
  run.go();
  EXPECT_EQ(run.judgement.verdict, Verdict::FAIL) << run.judgement.reason;
}

TEST(LinkedRun, OfALinkThatLosesFramesIsInvalidWhereTheyWereLost) {
  LinkedRun run(drive("1.5 s", std::string(drives) +
                                   "  - {measure: shoot_through_count, from: 0.5 s, max: 0}\n"
                                   "  - {measure: shoot_through_count, to: 0.4 s, max: 0}\n"));
  run.wire.on_ms = [&run](std::int64_t now) {
    run.wire.lost = run.armed_ns != 0 && now > run.at_ns(0.8) ? 0.01 : 0.0;
  };
  run.go();
  EXPECT_EQ(run.end_ps, run.scenario.lasts_ps);
  EXPECT_GT(run.link.lost_edges, 0U);
  ASSERT_GE(run.judgement.limits.size(), 3U);
  EXPECT_EQ(run.judgement.verdict, Verdict::INVALID) << run.judgement.reason;
  EXPECT_EQ(run.judgement.limits[1].verdict, Verdict::INVALID);
  EXPECT_EQ(run.judgement.limits[2].verdict, Verdict::PASS) << "before anything was lost";
}

TEST(LinkedRun, ThatLosesItsLinkForTwoSecondsGoesOnSafeAndEndsAsItShould) {
  LinkedRun run(drive("4 s", std::string(drives) +
                                 "  - {measure: speed_mean, from: 1.6 s, to: 3 s, min: 1 rpm}\n"
                                 "  - {measure: shoot_through_count, from: 3.8 s, max: 0}\n"));
  bool safe_within = false, safe_all_along = true, live_again = false;
  run.wire.on_ms = [&](std::int64_t now) {
    if (run.armed_ns == 0) return;
    run.wire.pulled = now > run.at_ns(1.5) && now < run.at_ns(3.5);
    if (now > run.at_ns(1.53) && now < run.at_ns(3.5)) {
      safe_within = true;
      safe_all_along = safe_all_along && !run.wire.chip.driven();
    }
    if (now > run.at_ns(3.7) && now < run.at_ns(3.9)) live_again |= run.wire.chip.driven();
  };
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.end_ps, run.scenario.lasts_ps) << "the record is whole";
  EXPECT_TRUE(safe_within && safe_all_along);
  EXPECT_TRUE(live_again);
  EXPECT_EQ(run.link.silences, 1U);
  ASSERT_GE(run.judgement.limits.size(), 3U);
  EXPECT_EQ(run.judgement.limits[0].verdict, Verdict::PASS) << run.judgement.limits[0].reason;
  EXPECT_EQ(run.judgement.limits[1].verdict, Verdict::INVALID) << run.judgement.limits[1].reason;
  EXPECT_EQ(run.judgement.limits[2].verdict, Verdict::PASS) << run.judgement.limits[2].reason;
  EXPECT_EQ(run.judgement.verdict, Verdict::INVALID);
}

TEST(LinkedRun, RefusesAChipOfAnotherTick) {
  LinkedRun run(drive("2 s", drives));
  run.bench = load_bench(run.bench.file, {"controller.link.tick=20 MHz"}, STILLROTOR_BUILD_DIR);
  try {
    run.go();
    FAIL() << "it ran";
  } catch (const io::ConfigError& error) {
    EXPECT_EQ(error.path, "controller.link.tick");
    EXPECT_THAT(error.what(), HasSubstr("the chip counts at 25 MHz"));
  }
}

TEST(LinkedRun, RefusesWhenNobodyAnswers) {
  LinkedRun run(drive("2 s", drives));
  run.wire.pulled = true;
  try {
    run.go();
    FAIL() << "it ran";
  } catch (const io::ConfigError& error) {
    EXPECT_EQ(error.path, "controller.link.address");
    EXPECT_THAT(error.what(), HasSubstr("no co-processor has answered"));
  }
}

}  // namespace
}  // namespace stillrotor::test
