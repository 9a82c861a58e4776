// What is done at a running bench: taken down as a line that the scenario's own reader reads, or
// refused in words; and the scenario that is saved loads, whole or cut short.
#include "emulator/live/driven_scenario.hpp"

#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using test::Folder;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

constexpr std::int64_t ms = 1'000'000'000;

const char* const planned = R"(scenario: Planned
lasts: 20 s
seed: 7
start: {key: on}
timeline:
  - {at: 8 s, throttle: 2 V, over: 2 s}
  - {at: 9 s, fault: hall_line_open, line: V}
  - {at: 12 s, brake: on}
  - {at: 5 s, fault: hall_line_open, line: W, intermittent: {probability: 20 %, lasts: 5 ms, for: 1 s}}
  - {when: time since brake on > 1 s, brake: off}
  - {when: speed > 300 rpm, after: key on, slope: 2 %}
expect:
  - {measure: peak, from: 0 s, to: 4 s, max: 60}
  - {measure: delay, after: hall_line_open, max: 1}
  - {measure: late, from: 15 s, max: 1}
  - {measure: braked, after: brake on, max: 1}
)";

class DrivenScenarioTest : public testing::Test {
 protected:
  DrivenScenarioTest()
      : bench_(load_bench(folder_.write("bench.yaml", test::small_bench), {}, "/none")),
        scenario_(load(planned)),
        driven_(bench_, scenario_, control_) {
    stand_at(0);
    control_.say(LivePhase::running);
  }

  Scenario load(const std::string& text) {
    return load_scenario(folder_.write("s.yaml", text), bench_);
  }
  /// The loop's present.
  void stand_at(std::int64_t now_ps) {
    bound_ps_ = now_ps + ms / 10;
    control_.publish(now_ps, bound_ps_);
  }
  /// The loop's turn.
  void turn() {
    if (const Action* action = control_.offered()) {
      const bool taken = action->at_ps >= bound_ps_;
      if (taken) taken_.push_back(*action);
      control_.answer(taken ? LiveControl::Answer::taken : LiveControl::Answer::late);
    }
  }
  DrivenScenario::Settled act(std::vector<DrivenWord> words) {
    driven_.act(std::move(words));
    turn();
    const auto settled = driven_.settled();
    EXPECT_EQ(settled.size(), 1U);
    return settled.empty() ? DrivenScenario::Settled{} : settled.front();
  }
  void ends_at(std::int64_t at_ps) {
    control_.say_end(at_ps);
    control_.say(LivePhase::ended);
  }

  Folder folder_;
  Bench bench_;
  Scenario scenario_;
  LiveControl control_{true};
  DrivenScenario driven_;
  std::int64_t bound_ps_ = 0;
  std::vector<Action> taken_;
};

TEST_F(DrivenScenarioTest, AnActionIsTakenAtAWholeMillisecondAndSaysItsLine) {
  stand_at(12'345'678);
  const auto done = act({{"throttle", "2.6 V"}, {"over", "300 ms"}});
  ASSERT_TRUE(done.done) << done.why;
  ASSERT_EQ(taken_.size(), 1U);
  EXPECT_EQ(taken_[0].at_ps % ms, 0);
  EXPECT_GE(taken_[0].at_ps, bound_ps_);
  EXPECT_LE(taken_[0].at_ps, bound_ps_ + 7 * ms);
  EXPECT_EQ(taken_[0].over_ps, 300 * ms);
  EXPECT_EQ(taken_[0].label, "throttle 2.6 V over 300 ms");
  EXPECT_EQ(done.line, "{at: 0.006 s, throttle: 2.6 V, over: 300 ms}");
  EXPECT_EQ(driven_.set().at("throttle"), "2.6 V");
  EXPECT_EQ(driven_.set().at("key"), "on");
  const Scenario saved = load(driven_.yaml());
  ASSERT_EQ(saved.timeline.size(), scenario_.timeline.size() + 1);
  EXPECT_EQ(saved.timeline[0].at_ps, taken_[0].at_ps);
  EXPECT_EQ(saved.timeline[0].value, taken_[0].value);
  EXPECT_EQ(saved.lasts_ps, scenario_.lasts_ps);
  EXPECT_EQ(saved.expect.size(), scenario_.expect.size());
}

TEST_F(DrivenScenarioTest, WhatIsDrivenMovesNoRandomNumberOfTheScenarios) {
  act({{"throttle", "1 V"}});
  const auto flips = [](const Scenario& s) {
    for (const Action& a : s.timeline)
      if (!a.flips.empty()) return a.flips;
    return std::vector<std::int64_t>{};
  };
  ASSERT_THAT(flips(scenario_), Not(IsEmpty()));
  EXPECT_EQ(flips(load(driven_.yaml())), flips(scenario_));
}

TEST_F(DrivenScenarioTest, WhatIsTooLateIsOfferedAgainForALaterTime) {
  driven_.act({{"brake", "on"}});
  const auto brake_off = driven_.act({{"brake", "off"}});
  stand_at(100 * ms);
  turn();
  EXPECT_THAT(driven_.settled(), IsEmpty());
  EXPECT_THAT(taken_, IsEmpty());
  turn();
  turn();
  EXPECT_EQ(driven_.settled().size(), 1U);
  turn();
  const auto second = driven_.settled();
  ASSERT_EQ(second.size(), 1U);
  EXPECT_EQ(second[0].number, brake_off);
  ASSERT_EQ(taken_.size(), 2U);
  EXPECT_EQ(taken_[0].value, 1.0);
  EXPECT_EQ(taken_[1].value, 0.0);
  EXPECT_GE(taken_[0].at_ps, bound_ps_);
  EXPECT_LE(taken_[0].at_ps, taken_[1].at_ps);
}

TEST_F(DrivenScenarioTest, WhatCannotBeIsRefusedInWords) {
  const struct {
    std::vector<DrivenWord> words;
    const char* why;
  } cases[] = {
      {{{"throttle", "9 V"}}, "throttle is 9 V; allowed"},
      {{{"throtle", "1 V"}}, "Did you mean throttle?"},
      {{{"throttle", "1 V"}, {"brake", "on"}}, "allowed exactly one of"},
      {{}, "nothing to do"},
      {{{"throttle", "1 V"}, {"throttle", "2 V"}}, "throttle is said twice"},
      {{{"throttle", ""}}, "has no value"},
      {{{"throttle", "1 V\n"}}, "has no value"},
      {{{"throttle", "1 V"}, {"at", "3 s"}}, "at means nothing at a running bench"},
      {{{"throttle", "1 V"}, {"when", "speed > 3 rpm"}}, "when means nothing at a running bench"},
      {{{"throttle", "{noise: {rms: 1 V}}"}}, "throttle has more than one value"},
      {{{"fault", "hall_line_open"}, {"line", "U"}, {"intermittent", "x"}},
       "intermittent has more than one value"},
      {{{"fault", "hall_line_open"}}, "hall_line_open needs line"},
      {{{"clear", "hall_line_open"}, {"line", "U"}}, "the fault is absent already"},
      {{{"fault", "encoder_index_missing"}}, "the bench \"Small\" has none"},
      {{{"fault", "hall_line_open"}, {"line", "V"}}, "the scenario at 9 s: hall_line_open"},
      {{{"throttle", "1 V"}, {"over", "9 s"}}, "the scenario at 8 s: throttle 2 V over 2 s begins"},
  };
  for (const auto& one : cases) {
    const auto settled = act(one.words);
    EXPECT_FALSE(settled.done) << one.why;
    EXPECT_THAT(settled.why, AllOf(HasSubstr(one.why), Not(HasSubstr("now:"))));
  }
  EXPECT_THAT(taken_, IsEmpty());
  EXPECT_EQ(driven_.size(), 0U);
  Bench far = bench_;
  far.controller = io::LinkConfig{};
  DrivenScenario behind_the_chip(far, scenario_, control_);
  behind_the_chip.act({{"fault", "hall_line_open"}, {"line", "U"}});
  EXPECT_THAT(behind_the_chip.settled().at(0).why, HasSubstr("inside the co-processor"));
}

TEST_F(DrivenScenarioTest, AFaultThatIsPresentGoesBeforeItComesAgain) {
  const std::vector<DrivenWord> broken = {{"fault", "hall_line_open"}, {"line", "U"}};
  EXPECT_TRUE(act(broken).done);
  stand_at(300 * ms);
  EXPECT_THAT(act(broken).why, testing::StartsWith("hall_line_open U: at this time the fault is "));
  EXPECT_TRUE(act({{"clear", "hall_line_open"}, {"line", "U"}}).done);
  stand_at(600 * ms);
  EXPECT_TRUE(act(broken).done);
  EXPECT_EQ(load(driven_.yaml()).timeline.size(), scenario_.timeline.size() + 3);
}

TEST_F(DrivenScenarioTest, WhoTurnsTheThrottleOnOvertakesItsRamp) {
  EXPECT_TRUE(act({{"throttle", "3 V"}, {"over", "2 s"}}).done);
  stand_at(500 * ms);
  const auto second = act({{"throttle", "1 V"}, {"over", "1 s"}});
  ASSERT_TRUE(second.done) << second.why;
  EXPECT_THAT(second.line, HasSubstr("overtakes: on"));
  stand_at(2'000 * ms);
  EXPECT_THAT(act({{"throttle", "2 V"}}).line, Not(HasSubstr("overtakes")));
  stand_at(8'500 * ms);  // the scenario's own ramp
  EXPECT_THAT(act({{"throttle", "1 V"}}).line, HasSubstr("overtakes: on"));
  const Scenario saved = load(driven_.yaml());
  EXPECT_EQ(load(saved.resolved_yaml).timeline.size(), scenario_.timeline.size() + 4);
}

TEST_F(DrivenScenarioTest, AStoppedRunLeavesAShorterScenarioThatSaysWhatItLeavesOut) {
  stand_at(9'500 * ms);
  act({{"throttle", "1 V"}});
  ends_at(10'000 * ms);
  EXPECT_THAT(act({{"brake", "on"}}).why, HasSubstr("the run ends before"));
  const std::string yaml = driven_.yaml();
  const Scenario saved = load(yaml);
  EXPECT_EQ(saved.lasts_ps, 10'000 * ms);
  ASSERT_EQ(saved.timeline.size(), 4U);
  ASSERT_EQ(saved.waiting.size(), 1U);
  EXPECT_EQ(saved.waiting[0].condition.by_ps, 10'000 * ms);
  ASSERT_EQ(saved.expect.size(), 2U);
  EXPECT_EQ(saved.expect[1].measure, "delay");
  for (const char* said : {"would have lasted 20 s", "#   {at: 12 s, brake: on}",
                           "#   {when: \"time since brake on > 1 s\", by: 20 s",
                           "#   {measure: late", "#   {measure: braked"})
    EXPECT_THAT(yaml, HasSubstr(said));
}

TEST_F(DrivenScenarioTest, WhatTheRoadGivesNobodyDrives) {
  const Bench cart = load_bench(
      fs::path(STILLROTOR_SOURCE_DIR) / "configs/benches/orchard-cart-mid.yaml", {}, "/none");
  const Scenario hill = load_scenario(
      folder_.write("hill.yaml", "scenario: Hill\nlasts: 9 s\nroad: [{at: 9 m, slope: 6 %}]\n"),
      cart);
  DrivenScenario driven(cart, hill, control_);
  driven.act({{"over", "1 s"}, {"slope", "1 %"}});
  EXPECT_THAT(driven.settled().at(0).why, HasSubstr("the scenario's road gives slope already"));
}

// The scenario's own fault comes and goes from 5 s to 6 s, whatever was drawn for its last time.
TEST_F(DrivenScenarioTest, AnIntermittentFaultIsPresentToItsEnd) {
  const std::vector<DrivenWord> broken = {{"fault", "hall_line_open"}, {"line", "W"}};
  stand_at(5'990 * ms);
  EXPECT_THAT(act(broken).why, HasSubstr("present already"));
  stand_at(6'000 * ms);
  EXPECT_TRUE(act(broken).done);
  EXPECT_EQ(load(driven_.yaml()).timeline.size(), scenario_.timeline.size() + 1);
}

TEST_F(DrivenScenarioTest, ARunThatEndsAtOnceStillLeavesAScenario) {
  ends_at(0);
  EXPECT_EQ(load(driven_.yaml()).lasts_ps, ms);
}

}  // namespace
}  // namespace stillrotor
