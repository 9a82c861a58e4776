// From limits to verdicts: every rule once where it applies and once where it does not.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/judge/judge.hpp"
#include "emulator/judge/stretch.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

Limit limit(std::string measure, std::optional<double> min, std::optional<double> max,
            Window window = {}) {
  Limit limit;
  limit.measure = std::move(measure);
  limit.min = min;
  limit.max = max;
  limit.window = std::move(window);
  return limit;
}
constexpr std::nullopt_t none = std::nullopt;

Scenario scenario(std::vector<Limit> limits, double lasts_s = 0.1) {
  Scenario scenario;
  scenario.lasts_ps = std::llround(lasts_s * 1e12);
  scenario.expect = std::move(limits);
  return scenario;
}

/// 41 A in phase V from the start, 48 V.
SyntheticRecord& driving(SyntheticRecord& record) {
  return record.constant(Signal::current_V, 41.0).constant(Signal::bus_voltage, 48.0);
}

/// The window begins inside a bin that reaches 40 A: the peak is known as 25 +- 15 A.
SyntheticRecord& doubtful(SyntheticRecord& record) {
  return record.signal(
      Signal::current_U, [](double t_s) { return t_s > 510e-6 && t_s < 520e-6 ? 40.0 : 10.0; }, 50);
}
const Window doubtful_window = window(530e-6);

TEST(Verdict, IsPassWhenValueAndUncertaintyLieInside) {
  SyntheticRecord record(0.1);
  const Judgement judgement = judge(
      driving(record).read(),
      scenario({limit("phase_current_peak", none, 60.0), limit("bus_voltage_min", 40.0, 50.0)}));
  EXPECT_EQ(judgement.verdict, Verdict::PASS);
  EXPECT_THAT(judgement.reason, HasSubstr("All 3 limits hold"));
  ASSERT_EQ(judgement.limits.size(), 3U);
  EXPECT_EQ(judgement.limits[0].verdict, Verdict::PASS);
  EXPECT_EQ(judgement.limits[0].unit, "A");
  EXPECT_THAT(judgement.limits[0].reason,
              AllOf(HasSubstr("phase_current_peak was 41 A"), HasSubstr("(0 s to 100 ms)"),
                    HasSubstr("allowed at most 60 A.")));
  EXPECT_THAT(judgement.limits[1].reason, HasSubstr("allowed 40 V to 50 V"));
  EXPECT_EQ(judgement.limits[2].limit.measure, "controller_alive");
  EXPECT_EQ(judgement.limits[2].verdict, Verdict::PASS);
}

TEST(Verdict, IsFailWhenValueAndUncertaintyLieOutside) {
  SyntheticRecord record(0.1);
  Limit too_low = limit("bus_voltage_min", 50.0, none);
  too_low.because = "the controller browns out";
  const Judgement judgement =
      judge(driving(record).read(), scenario({limit("phase_current_peak", none, 35.0), too_low}));
  EXPECT_EQ(judgement.verdict, Verdict::FAIL);
  EXPECT_EQ(judgement.limits[0].verdict, Verdict::FAIL);
  EXPECT_THAT(judgement.limits[0].reason, HasSubstr("allowed at most 35 A: 6 A too much."));
  EXPECT_EQ(judgement.limits[1].verdict, Verdict::FAIL);
  EXPECT_THAT(judgement.limits[1].reason,
              HasSubstr("at least 50 V: 2 V too little; the controller browns out."));
  EXPECT_THAT(judgement.reason, HasSubstr("2 of 3 limits do not hold: phase_current_peak"));
}

TEST(Verdict, IsInvalidWhenTheUncertaintyStraddlesTheLimit) {
  for (const double max : {10.5, 25.0, 39.5}) {
    SyntheticRecord record(0.1);
    const Judgement judgement =
        judge(doubtful(record).read(),
              scenario({limit("phase_current_peak", none, max, doubtful_window)}));
    EXPECT_EQ(judgement.verdict, Verdict::INVALID) << max;
    EXPECT_THAT(judgement.limits[0].reason, HasSubstr("within the uncertainty"));
  }
  // Beside the interval it is no longer open.
  SyntheticRecord record(0.1);
  const auto& read = doubtful(record).read();
  const auto verdict = [&](double max) {
    return judge(read, scenario({limit("phase_current_peak", none, max, doubtful_window)})).verdict;
  };
  EXPECT_EQ(verdict(9.5), Verdict::FAIL);
  EXPECT_EQ(verdict(40.5), Verdict::PASS);
}

TEST(Verdict, OfAMinimumStraddlesToo) {
  SyntheticRecord record(0.1);
  const auto& read = doubtful(record).read();
  const auto verdict = [&](double min) {
    return judge(read, scenario({limit("phase_current_peak", min, none, doubtful_window)})).verdict;
  };
  EXPECT_EQ(verdict(9.5), Verdict::PASS);
  EXPECT_EQ(verdict(25.0), Verdict::INVALID);
  EXPECT_EQ(verdict(40.5), Verdict::FAIL);
}

TEST(Verdict, IsInvalidWhenTheMeasureIsUndefined) {
  SyntheticRecord record(0.1);
  const Judgement judgement =
      judge(driving(record).read(), scenario({limit("pwm_frequency", 1e3, none)}));
  EXPECT_EQ(judgement.verdict, Verdict::INVALID);
  EXPECT_THAT(judgement.reason,
              AllOf(HasSubstr("1 of 2 limits could not be judged"),
                    HasSubstr("pwm_frequency could not be measured: no gate rose")));
}

TEST(Window, HangsOnEventsAtBothEnds) {
  SyntheticRecord record(0.5);
  record.mark(MarkKind::action, 100 * ms, "key on")
      .mark(MarkKind::action, 200 * ms, "throttle")
      .mark(MarkKind::action, 300 * ms, "key on");
  const RecordReader& read = record.read();
  const struct {
    Window window;
    double from_s, to_s;  // from_s < 0: there is no such window
  } cases[] = {
      {{0.0, 0.0, "", "throttle"}, 0.0, 0.2},
      {{0.05, 0.02, "key on", "throttle"}, 0.15, 0.22},
      {{0.01, 0.0, "throttle", "key on"}, 0.21, 0.3},  // the first one after its beginning
      {{0.25, 0.0, "", "throttle"}, -1.0, 0.0},
      {{-1.0, 0.0, "", "", "throttle"}, 0.0, 0.2},
      {{0.15, 0.05, "", "", "throttle"}, 0.05, 0.15},
      {{0.25, 0.05, "", "", "throttle"}, -1.0, 0.0},  // begins before the record
      {{0.1, 0.0, "", "", "brake on"}, -1.0, 0.0},
  };
  for (const auto& one : cases) {
    const ResolvedWindow found = resolve(read, one.window);
    EXPECT_EQ(found.undefined.empty(), one.from_s >= 0.0) << one.to_s << one.window.until;
    if (one.from_s < 0.0) continue;
    EXPECT_NEAR(static_cast<double>(found.stretch.from_ps) * 1e-12, one.from_s, 1e-12);
    EXPECT_NEAR(static_cast<double>(found.stretch.to_ps) * 1e-12, one.to_s, 1e-12);
  }
}

TEST(Verdict, IsInvalidWhenAGapLiesInTheWindow) {
  SyntheticRecord record(0.1);
  driving(record).mark(MarkKind::gap, 40 * ms, "lost edges", "gates.UH", 50 * ms);
  const auto& read = record.read();
  const auto judged = [&](double from_s, double to_s, double max) {
    return judge(read, scenario({limit("phase_current_peak", none, max, window(from_s, to_s))}));
  };
  EXPECT_EQ(judged(0.0, 0.1, 60.0).verdict, Verdict::INVALID);
  EXPECT_EQ(judged(0.0, 0.1, 30.0).verdict, Verdict::INVALID);  // nor is it a FAIL
  EXPECT_EQ(judged(0.045, 0.047, 60.0).verdict, Verdict::INVALID);
  EXPECT_THAT(judged(0.0, 0.1, 60.0).reason,
              HasSubstr("not to be trusted from 40 ms to 50 ms: lost edges gates.UH"));
  EXPECT_EQ(judged(0.0, 0.039, 60.0).verdict, Verdict::PASS);
  EXPECT_EQ(judged(0.051, 0.1, 30.0).verdict, Verdict::FAIL);
}

TEST(Verdict, OfARunIsFailBeforeInvalidBeforePass) {
  const Limit good = limit("phase_current_peak", none, 60.0),
              bad = limit("bus_voltage_min", 50.0, none), open = limit("pwm_frequency", 1e3, none);
  const auto verdict = [](std::vector<Limit> limits) {
    SyntheticRecord record(0.1);
    return judge(driving(record).read(), scenario(std::move(limits))).verdict;
  };
  EXPECT_EQ(verdict({good, open, bad}), Verdict::FAIL);
  EXPECT_EQ(verdict({bad, open}), Verdict::FAIL);
  EXPECT_EQ(verdict({open, good}), Verdict::INVALID);
  EXPECT_EQ(verdict({good}), Verdict::PASS);
}

TEST(Verdict, WithoutLimitsIsNone) {
  SyntheticRecord record(0.1);
  const Judgement judgement = judge(driving(record).read(), scenario({}));
  EXPECT_EQ(judgement.verdict, Verdict::NONE);
  EXPECT_THAT(judgement.reason, HasSubstr("no limits"));
}

TEST(ControllerAlive, FailsWhenTheControllerCrashedOrHung) {
  for (const std::string how : {"controller crashed", "controller hung"}) {
    SyntheticRecord record(0.1);
    driving(record).mark(MarkKind::event, 30 * ms, how, "an instruction that no processor has");
    const Judgement judgement =
        judge(record.read(), scenario({limit("phase_current_peak", none, 60.0)}));
    EXPECT_EQ(judgement.verdict, Verdict::FAIL);
    EXPECT_THAT(judgement.reason,
                HasSubstr("The " + how + " at 30 ms: an instruction that no processor has."));
    SyntheticRecord without_limits(0.1);
    without_limits.mark(MarkKind::event, 30 * ms, how);
    EXPECT_EQ(judge(without_limits.read(), scenario({})).verdict, Verdict::FAIL);
  }
}

TEST(ControllerAlive, HoldsWhenACaptureRanOut) {
  SyntheticRecord record(0.1);
  driving(record).mark(MarkKind::event, 30 * ms, "controller exited", "the capture has ended");
  EXPECT_EQ(judge(record.read(), scenario({limit("phase_current_peak", none, 60.0)})).verdict,
            Verdict::PASS);
}

TEST(RunThatEndedEarly, LeavesLimitsToItsEndInvalid) {
  SyntheticRecord record(0.1);
  const auto& read = driving(record).read();
  const Judgement judgement = judge(read, scenario({limit("phase_current_peak", none, 60.0)}, 0.5));
  EXPECT_EQ(judgement.verdict, Verdict::INVALID);
  EXPECT_THAT(judgement.reason, HasSubstr("the run ended at 100 ms of 500 ms"));
  EXPECT_EQ(judge(read, scenario({limit("phase_current_peak", none, 60.0, window(0.0, 0.05))}, 0.5))
                .verdict,
            Verdict::PASS);
}

TEST(RecordThatWasCutShort, IsNeverPass) {
  SyntheticRecord record(0.1);
  driving(record).cut_short();
  const Judgement judgement =
      judge(record.read(), scenario({limit("phase_current_peak", none, 60.0, window(0.0, 0.05))}));
  EXPECT_EQ(judgement.limits[0].verdict, Verdict::PASS);
  EXPECT_EQ(judgement.verdict, Verdict::INVALID);
  EXPECT_THAT(judgement.reason, HasSubstr("controller_alive could not be measured"));
}

/// Gates on until stop_ps (for ever: negative), a fault at 20 ms, 50 electrical turns a second.
SyntheticRecord& blind(SyntheticRecord& record, std::int64_t stop_ps) {
  record.edge(0, ms, true);
  if (stop_ps >= 0) record.edge(0, stop_ps, false);
  record.mark(MarkKind::fault, 20 * ms, "hall_line_open", "U");
  return record.signal(Signal::angle_e,
                       [](double t_s) { return std::fmod(100.0 * pi * t_s, 2.0 * pi); });
}

TEST(LimitInElectricalTurns, IsComparedWithHowFarTheRotorTurned) {
  Limit turns = limit("time_to_gates_off", none, 1.2, after("hall_line_open"));
  turns.unit = "electrical turns";
  SyntheticRecord soon(0.1);
  const Judgement pass = judge(blind(soon, 40 * ms).read(), scenario({turns}));
  EXPECT_EQ(pass.verdict, Verdict::PASS);
  EXPECT_EQ(pass.limits[0].unit, "electrical turns");
  EXPECT_NEAR(pass.limits[0].measured.value, 1.0, 1e-5);  // 20 ms at 50 Hz
  EXPECT_THAT(pass.limits[0].reason, HasSubstr("allowed at most 1.2 electrical turns"));
  SyntheticRecord late(0.1);
  EXPECT_EQ(judge(blind(late, 50 * ms).read(), scenario({turns})).verdict, Verdict::FAIL);
}

TEST(LimitOnGatesOff, FailsWhenTheGatesNeverGoOff) {
  SyntheticRecord record(0.1);
  const auto& read = blind(record, -1).read();
  const auto judged = [&](double max_s) {
    return judge(read,
                 scenario({limit("time_to_gates_off", none, max_s, after("hall_line_open"))}));
  };
  EXPECT_EQ(judged(0.05).verdict, Verdict::FAIL);
  EXPECT_THAT(judged(0.05).reason, HasSubstr("at least 80 ms"));
  // 80 ms were watched: whether 90 ms would have been kept nobody knows.
  EXPECT_EQ(judged(0.09).verdict, Verdict::INVALID);
  EXPECT_THAT(judged(0.09).reason, HasSubstr("too short to tell"));
}

TEST(Overview, HoldsEveryMeasureThatAsksForNothing) {
  SyntheticRecord record(0.1);
  const Judgement judgement = judge(driving(record).read(), scenario({}));
  std::vector<const MeasureInfo*> expected, found;
  for (const MeasureInfo& info : measure_table())
    if (needs_window_only(info.asks)) expected.push_back(&info);
  for (const auto& [info, measured] : judgement.overview) found.push_back(info);
  EXPECT_EQ(found, expected);
  EXPECT_LT(found.size(), measure_table().size());
  EXPECT_NEAR(judgement.overview[0].second.value, 41.0, 1e-5);
}

}  // namespace
}  // namespace stillrotor
