// The 36 arrangements of an ideal six-step controller, and what is said of wires that are wrong.
#include "emulator/arrangement/arrangement.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <numbers>

#include "emulator/arrangement/wiring_findings.hpp"

namespace stillrotor::test {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr double at_120 = 2.0 * std::numbers::pi / 3.0, at_60 = std::numbers::pi / 3.0;
constexpr std::array<std::array<int, 3>, 6> orders{
    {{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}}};

/// By sector of theta_e: the leg at the bus, the leg at ground. By hand from e_k = -sin: about 0 V
/// has sin(120 deg) and W -sin(120 deg), so current into V and out of W; and so on in turn.
constexpr int forward_up[6] = {1, 1, 2, 2, 0, 0}, forward_down[6] = {2, 0, 0, 1, 1, 2};

/// Answers of a controller whose legs U, V, W lead to phases and whose inputs lead to Halls as
/// named, tuned to the machine as if all stood at its place. duty: of the high switch.
HallAnswers six_step(const std::array<int, 3>& phases, const std::array<int, 3>& halls,
                     double duty = 0.4) {
  const auto codes = hall_codes(at_120);
  HallAnswers answers;
  answers.drove = true;
  for (std::size_t s = 0; s < 6; ++s) {
    // The bench holds machine's codes; the controller's input k reads Hall halls[k].
    int read = 0;
    for (std::size_t k = 0; k < 3; ++k) read |= (codes[s] >> halls[k] & 1) << k;
    const auto sector =
        static_cast<std::size_t>(std::find(codes.begin(), codes.end(), read) - codes.begin());
    GatesSeen& seen = answers.codes[static_cast<std::size_t>(codes[s])];
    for (std::size_t leg = 0; leg < 3; ++leg) {
      const auto phase = static_cast<std::size_t>(phases[leg]);
      if (forward_up[sector] == static_cast<int>(leg)) seen.on[2 * phase] = duty;
      if (forward_down[sector] == static_cast<int>(leg)) seen.on[2 * phase + 1] = 1.0;
    }
  }
  return answers;
}
HallAnswers good() { return six_step(orders[0], orders[0]); }

TEST(HallCodes, AreThoseOfTheNotation) {
  // docs/notation.md, codes U V W read as bits 0, 1, 2.
  EXPECT_THAT(hall_codes(at_120), ElementsAre(1, 3, 2, 6, 4, 5));
  EXPECT_THAT(hall_codes(at_60), ElementsAre(3, 7, 6, 4, 0, 1));
  EXPECT_THAT(codes_without_position(at_120), ElementsAre(0, 7));
  EXPECT_THAT(codes_without_position(at_60), ElementsAre(2, 5));
}

TEST(Arrangements, OfAllThirtySixThreeGoForwardThreeBackTwelveHalfEighteenNowhere) {
  for (const auto& phases : orders)
    for (const auto& halls : orders) {
      const WiringFindings found = wiring_findings(six_step(phases, halls), at_120);
      ASSERT_TRUE(found.arranged);
      EXPECT_EQ(of_kind(found.all, Turning::forward).size(), 3U);
      EXPECT_EQ(of_kind(found.all, Turning::reverse).size(), 3U);
      EXPECT_EQ(of_kind(found.all, Turning::half).size(), 12U);
      EXPECT_EQ(of_kind(found.all, Turning::none).size(), 18U);
    }
}

TEST(Arrangements, TheRemedyOfEachIsOneThatDrivesForward) {
  for (const auto& phases : orders)
    for (const auto& halls : orders) {
      const auto found = wiring_findings(six_step(phases, halls), at_120);
      const Arrangement fit = of_kind(found.all, Turning::forward).front();
      // The remedy's moves on top of what was wired: machine's phase at the bench's leg, machine's
      // Hall at the bench's input. (The machine stands still at the bench; its wires move.)
      std::array<int, 3> phases_then{}, halls_then{};
      for (std::size_t k = 0; k < 3; ++k) {
        phases_then[k] = fit.phases[static_cast<std::size_t>(phases[k])];
        halls_then[k] = fit.halls[static_cast<std::size_t>(halls[k])];
      }
      EXPECT_THAT(wiring_findings(six_step(phases_then, halls_then), at_120).wrong, IsEmpty())
          << moves(fit);
    }
}

TEST(Arrangements, AsWiredWellItIsFullAndSmooth) {
  const WiringFindings found = wiring_findings(good(), at_120);
  EXPECT_THAT(found.wrong, IsEmpty());
  EXPECT_DOUBLE_EQ(found.all[0].mean, 1.0);
  // Both driven phases stand on their flat tops in every sector.
  EXPECT_NEAR(found.all[0].least, 1.0, 1e-12);
  EXPECT_NEAR(found.all[0].greatest, 1.0, 1e-12);
}

TEST(Arrangements, HallsTurnedRoundGiveHalfTheTorqueFromNothingToAll) {
  // The table stands 120 deg off: one phase has its flat top against it, the other's ramp runs from
  // one end to the other: -(1 +- 1) / 2 of the full torque.
  const auto found = wiring_findings(six_step(orders[0], {1, 2, 0}), at_120);
  EXPECT_EQ(found.all[0].turning, Turning::half);
  EXPECT_NEAR(found.all[0].mean, -0.5, 1e-12);
  EXPECT_NEAR(found.all[0].least, -1.0, 0.01);
  EXPECT_NEAR(found.all[0].greatest, 0.0, 0.01);
  EXPECT_THAT(found.wrong, ElementsAre(HasSubstr("backwards at half the torque")));
}

TEST(WiringFindings, NamesSwappedHalls) {
  EXPECT_THAT(
      wiring_findings(six_step(orders[0], {1, 0, 2}), at_120).wrong,
      ElementsAre(AllOf(HasSubstr("drives nowhere"), HasSubstr("exchange Hall U and Hall V."))));
}

TEST(WiringFindings, NamesBothPairsOfWhatRunsBackwards) {
  EXPECT_THAT(wiring_findings(six_step({1, 0, 2}, {1, 0, 2}), at_120).wrong,
              ElementsAre(AllOf(HasSubstr("backwards, at full torque"), HasSubstr("exchange Hall"),
                                HasSubstr("exchange phase"))));
}

TEST(WiringFindings, NamesSwappedSwitchesOfALeg) {
  HallAnswers answers = good();
  for (GatesSeen& seen : answers.codes) std::swap(seen.on[2], seen.on[3]);
  const WiringFindings found = wiring_findings(answers, at_120);
  EXPECT_THAT(found.wrong, ElementsAre(HasSubstr("VH and VL are swapped")));
  EXPECT_EQ(found.all[0].turning, Turning::forward);  // once they are exchanged
}

TEST(WiringFindings, NamesASwitchThatIsNeverOrAlwaysOn) {
  HallAnswers never = good(), always = good();
  for (GatesSeen& seen : never.codes) seen.on[1] = 0.0;
  for (GatesSeen& seen : always.codes) {
    seen.both[0] = seen.on[0];
    seen.on[1] = 1.0;
  }
  EXPECT_THAT(wiring_findings(never, at_120).wrong, Contains(HasSubstr("UL is never on")));
  EXPECT_THAT(wiring_findings(always, at_120).wrong,
              AllOf(Contains(HasSubstr("UL is always on")),
                    Contains(HasSubstr("UH and UL are on at once for up to 40.0 %"))));
}

TEST(WiringFindings, NamesAnInvertedGate) {
  HallAnswers answers = good();
  answers.unpowered.on[4] = 1.0;
  for (GatesSeen& seen : answers.codes) {
    seen.on[4] = 1.0 - seen.on[4];
    seen.both[2] = std::min(seen.on[4], seen.on[5]);
  }
  EXPECT_THAT(wiring_findings(answers, at_120).wrong,
              AllOf(Contains(HasSubstr("WH reads on while the controller has no supply")),
                    Contains(HasSubstr("WH and WL are on at once"))));
}

TEST(WiringFindings, TakesSixGatesOnForActiveLow) {
  HallAnswers unpowered = good(), idle = good();  // with and without pulls of its own
  unpowered.unpowered.on.fill(1.0);
  idle.idle.on.fill(1.0);
  for (const HallAnswers& answers : {unpowered, idle})
    EXPECT_THAT(wiring_findings(answers, at_120).wrong,
                ElementsAre(HasSubstr("harness.gates.active: low")));
}

TEST(WiringFindings, NamesCodesThatDriveNothing) {
  HallAnswers answers = good();
  answers.codes[3] = {};
  EXPECT_THAT(wiring_findings(answers, at_120).wrong, ElementsAre(HasSubstr("Hall code 110")));
}

TEST(WiringFindings, SaysWhenNothingAnsweredTheThrottle) {
  EXPECT_THAT(wiring_findings({}, at_120).wrong, ElementsAre(HasSubstr("No gate changed")));
  HallAnswers open = good();
  open.drove = false;
  open.idle = open.codes[1];
  EXPECT_THAT(wiring_findings(open, at_120).wrong,
              ElementsAre(HasSubstr("drives with the throttle shut already")));
}

TEST(WiringFindings, NamesOneAnswerToAllCodesAsNoTable) {
  HallAnswers answers = good();
  GatesSeen all_legs;
  all_legs.on = {0.4, 0.0, 0.0, 1.0, 0.0, 0.0};
  answers.codes.fill(all_legs);
  EXPECT_FALSE(wiring_findings(answers, at_120).arranged);
  EXPECT_THAT(wiring_findings(answers, at_120).wrong, Contains(HasSubstr("is never on")));
}

TEST(WiringFindings, NotesAControllerThatDrivesOnAnInvalidCode) {
  HallAnswers answers = good();
  answers.codes[7] = answers.codes[1];
  const WiringFindings found = wiring_findings(answers, at_120);
  EXPECT_THAT(found.wrong, IsEmpty());
  EXPECT_THAT(found.notes, ElementsAre(HasSubstr("Hall code 111")));
}

TEST(LegDrive, ReadsEveryWayToChop) {
  GatesSeen high_side, low_side, both, bipolar, alike;
  high_side.on = {0.3, 0.0, 0.0, 1.0, 0.0, 0.0};
  low_side.on = {1.0, 0.0, 0.0, 0.3, 0.0, 0.0};
  both.on = {0.3, 0.68, 0.0, 1.0, 0.0, 0.0};
  bipolar.on = {0.6, 0.38, 0.38, 0.6, 0.0, 0.0};
  alike.on = {0.5, 0.48, 0.5, 0.48, 0.5, 0.48};
  for (const GatesSeen& seen : {high_side, low_side, both, bipolar})
    EXPECT_THAT(leg_drive(seen), ElementsAre(1.0, -1.0, 0.0));
  EXPECT_THAT(leg_drive(alike), ElementsAre(0.0, 0.0, 0.0));
}

}  // namespace
}  // namespace stillrotor::test
