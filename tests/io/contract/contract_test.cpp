// The rules of io/connector.hpp, kept by every simulated controller; and doubles that break them,
// so that the check itself is known to bite.
#include <gmock/gmock.h>

#include <utility>

#include "tests/io/contract/controllers.hpp"
#include "tests/io/support/contract_check.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::microseconds;
using std::chrono::milliseconds;
using ::testing::IsEmpty;
using ::testing::Not;

/// 25 rad/s with 4 pole pairs: Hall edges each 10.5 ms, encoder edges each 245 us.
MotorScript turning_motor() { return {.omega_m_rad_s = 25.0}; }

/// Power, key, throttle, brake, release: what any drive meets in a day.
void drive_about(ScriptedMotor& motor, SimulatedController& controller, double supply_V) {
  motor.power(controller, supply_V);
  motor.run(controller, milliseconds(20));
  motor.set_line(line::key, Level::high);
  motor.run(controller, milliseconds(40));
  motor.set_throttle(2.0);
  motor.run(controller, milliseconds(80));
  motor.set_line(line::brake, Level::high);
  motor.run(controller, milliseconds(90));
  motor.set_line(line::brake, Level::low);
  motor.run(controller, milliseconds(110));
}

bool same(const Edge& a, const Edge& b) {
  return a.at == b.at && a.line == b.line && a.level == b.level;
}

class ControllerContract : public ::testing::TestWithParam<Candidate> {
 protected:
  std::unique_ptr<SimulatedController> controller = GetParam().make();
  ScriptedMotor motor{turning_motor()};
  std::vector<std::string> broken() const {
    return broken_rules(motor, *controller, GetParam().longest_instruction);
  }
};

TEST_P(ControllerContract, KeepsTimeAndHorizonOnADayOut) {
  drive_about(motor, *controller, GetParam().supply_V);
  EXPECT_THAT(broken(), IsEmpty());
  EXPECT_GT(motor.gate_edges.size(), gate_count) << "it never drove a gate, nothing was checked";
  EXPECT_EQ(controller->health(), Health::running);
}

TEST_P(ControllerContract, KeepsThemWithAHorizonOfOneMicrosecond) {
  motor.look_ahead = microseconds(1);
  drive_about(motor, *controller, GetParam().supply_V);
  EXPECT_THAT(broken(), IsEmpty());
}

// 1 ns: the bound that the scheduler as a whole promises. The motor does not answer to the gates,
// so nothing else may move either.
TEST_P(ControllerContract, DrivesTheSameEdgesWhateverTheHorizons) {
  drive_about(motor, *controller, GetParam().supply_V);
  const auto other = GetParam().make();
  ScriptedMotor again{turning_motor()};
  again.look_ahead = microseconds(7);
  drive_about(again, *other, GetParam().supply_V);
  ASSERT_EQ(again.gate_edges.size(), motor.gate_edges.size());
  for (std::size_t k = 0; k < motor.gate_edges.size(); ++k) {
    const Edge &a = motor.gate_edges[k], &b = again.gate_edges[k];
    ASSERT_EQ(a.line, b.line) << "edge " << k;
    ASSERT_EQ(a.level, b.level) << "edge " << k;
    ASSERT_LE(std::abs((a.at - b.at).count()), 1000) << "edge " << k;
  }
}

TEST_P(ControllerContract, RunsTwiceTheSame) {
  drive_about(motor, *controller, GetParam().supply_V);
  const auto other = GetParam().make();
  ScriptedMotor again{turning_motor()};
  drive_about(again, *other, GetParam().supply_V);
  ASSERT_EQ(again.gate_edges.size(), motor.gate_edges.size());
  for (std::size_t k = 0; k < motor.gate_edges.size(); ++k)
    ASSERT_TRUE(same(motor.gate_edges[k], again.gate_edges[k])) << "edge " << k;
  ASSERT_EQ(again.words.size(), motor.words.size());
  for (std::size_t k = 0; k < motor.words.size(); ++k) {
    EXPECT_EQ(motor.words[k].at, again.words[k].at);
    EXPECT_EQ(motor.words[k].text, again.words[k].text);
  }
}

// An edge may be told late by as much as the controller ran past it.
TEST_P(ControllerContract, AcceptsEdgesAtAnyTimeUpToTheOneReached) {
  motor.power(*controller, GetParam().supply_V);
  motor.set_line(line::key, Level::high);
  motor.probe = [&, last = Time{}]() mutable {
    for (const Time at : {last, motor.now() - Time{1}, motor.now()}) {
      const LineId id = line::hall_U;
      const Level level = motor.level(id, at);
      controller->deliver({at, id, level == Level::high ? Level::low : Level::high});
      controller->deliver({at, id, level});
    }
    last = motor.now();
  };
  motor.run(*controller, milliseconds(30));
  motor.set_throttle(2.0);
  motor.run(*controller, milliseconds(60));
  EXPECT_THAT(broken(), IsEmpty());
}

TEST_P(ControllerContract, ReleasesAllGatesWithoutPowerAndThenKeepsStill) {
  drive_about(motor, *controller, GetParam().supply_V);
  motor.set_throttle(2.0);
  motor.run(*controller, milliseconds(150));
  motor.power(*controller, 0.0);
  EXPECT_TRUE(motor.all_gates(Level::released));
  const std::size_t edges = motor.gate_edges.size(), words = motor.words.size();
  motor.run(*controller, milliseconds(200));
  EXPECT_EQ(motor.gate_edges.size(), edges);
  EXPECT_EQ(motor.words.size(), words);
  EXPECT_THAT(broken(), IsEmpty());
}

TEST_P(ControllerContract, KeepsTheRulesAfterABrownOut) {
  drive_about(motor, *controller, GetParam().supply_V);
  motor.power(*controller, 0.0);
  motor.run(*controller, milliseconds(120));
  motor.set_throttle(0.85);
  motor.power(*controller, GetParam().supply_V);
  motor.run(*controller, milliseconds(180));
  EXPECT_THAT(broken(), IsEmpty());
}

INSTANTIATE_TEST_SUITE_P(Every, ControllerContract, ::testing::ValuesIn(candidates()),
                         [](const auto& row) { return row.param.name; });

/// A double that toggles UH every 100 us, correctly; each rule can be broken on purpose.
class Double : public SimulatedController {
 public:
  enum class Flaw { none, past_horizon, backwards, two_edges, early_return, no_gate };
  explicit Double(Flaw flaw) : flaw_(flaw) {}
  void power(double, Time at, World& world) override { now_ = next_ = at, world_ = &world; }
  Time run(Time horizon) noexcept override {
    if (health_ != Health::running) return now_ = horizon;
    if (flaw_ == Flaw::early_return && !std::exchange(high_, true))
      return now_ = now_ + (horizon - now_) / 2;
    if (next_ > horizon && flaw_ != Flaw::past_horizon) return now_ = horizon;
    const Time at = flaw_ == Flaw::backwards ? next_ - microseconds(150) : next_;
    next_ += microseconds(100);
    high_ = !high_;
    const LineId id = flaw_ == Flaw::no_gate ? line::key : line::gate_UH;
    world_->drive({at, id, high_ ? Level::high : Level::low});
    if (flaw_ == Flaw::two_edges) world_->drive({at + microseconds(1), line::gate_UL, Level::low});
    return now_ = std::max(now_, at);
  }
  void deliver(const Edge&) noexcept override {}
  Health health() const noexcept override { return health_; }
  std::string_view diagnosis() const noexcept override { return diagnosis_; }
  void fail(Health health, std::string_view why) { health_ = health, diagnosis_ = why; }

 private:
  Flaw flaw_;
  World* world_ = nullptr;
  Time now_{}, next_{};
  bool high_ = false;
  Health health_ = Health::running;
  std::string_view diagnosis_;
};

std::vector<std::string> rules_broken_by(Double::Flaw flaw) {
  Double controller{flaw};
  ScriptedMotor motor{turning_motor()};
  motor.look_ahead = microseconds(70);
  motor.power(controller, 5.0);
  motor.run(controller, milliseconds(3));
  return broken_rules(motor, controller, Time{0});
}

TEST(ContractCheck, PassesAControllerThatKeepsTheRules) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::none), IsEmpty());
}
TEST(ContractCheck, SeesAnEdgePastTheHorizon) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::past_horizon), Not(IsEmpty()));
}
TEST(ContractCheck, SeesAnEdgeInThePast) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::backwards), Not(IsEmpty()));
}
TEST(ContractCheck, SeesARunThatGoesOnAfterItsFirstEdge) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::two_edges), Not(IsEmpty()));
}
TEST(ContractCheck, SeesARunThatReturnsTooEarly) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::early_return), Not(IsEmpty()));
}
TEST(ContractCheck, SeesADrivenInput) {
  EXPECT_THAT(rules_broken_by(Double::Flaw::no_gate), Not(IsEmpty()));
}

class FailedController : public ::testing::TestWithParam<Health> {};

TEST_P(FailedController, IsReportedWithItsReasonWhileTimeGoesOn) {
  Double controller{Double::Flaw::none};
  ScriptedMotor motor{turning_motor()};
  motor.power(controller, 5.0);
  motor.run(controller, milliseconds(1));
  controller.fail(GetParam(), "program counter beyond the flash");
  motor.run(controller, milliseconds(2));
  EXPECT_EQ(controller.health(), GetParam());
  EXPECT_EQ(motor.now(), Time{milliseconds(2)});
  EXPECT_THAT(broken_rules(motor, controller, Time{0}), IsEmpty());
}

TEST_P(FailedController, WithoutAReasonBreaksARule) {
  Double controller{Double::Flaw::none};
  ScriptedMotor motor{turning_motor()};
  motor.power(controller, 5.0);
  controller.fail(GetParam(), "");
  motor.run(controller, milliseconds(1));
  EXPECT_THAT(broken_rules(motor, controller, Time{0}), Not(IsEmpty()));
}

INSTANTIATE_TEST_SUITE_P(Every, FailedController,
                         ::testing::Values(Health::exited, Health::crashed, Health::hung));

}  // namespace
}  // namespace stillrotor::io::test
