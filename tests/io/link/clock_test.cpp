// The chip's counter as a clock: offset and drift from round trips with jitter, in virtual time.
#include "io/link/clock.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

namespace stillrotor::io {
namespace {

constexpr double tick_Hz = 133e6;

/// A chip, and a way to it: what each delay is, in ns.
struct Far {
  double drift = 50e-6;
  double begin_ticks = 4.2e9;  // wraps within a second, and every 32 s
  std::function<double(std::mt19937&)> there, back;
  std::mt19937 random{11};

  double ticks(double t_ns) const { return begin_ticks + (1.0 + drift) * t_ns * tick_Hz / 1e9; }
  std::uint32_t counter(double t_ns) const {
    return static_cast<std::uint32_t>(static_cast<std::int64_t>(std::floor(ticks(t_ns))));
  }
  LinkClock::RoundTrip trip(std::int64_t now_ns) {
    const double heard = static_cast<double>(now_ns) + there(random);
    const double answered = heard + 30e3;
    const double back_ns = answered + back(random);
    return {now_ns, std::llround(back_ns), counter(heard), counter(answered)};
  }
};

std::function<double(std::mt19937&)> waiting_at_random(double least_ns, double mean_ns) {
  return
      [=](std::mt19937& r) { return least_ns + std::exponential_distribution(1.0 / mean_ns)(r); };
}
std::function<double(std::mt19937&)> waiting_for_a_slot(double least_ns, double slot_ns) {
  return
      [=](std::mt19937& r) { return least_ns + std::uniform_real_distribution(0.0, slot_ns)(r); };
}

/// Worst error in [from_s, to_s), heartbeats every 2 ms.
double worst_ns(LinkClock& clock, Far& far, double from_s, double to_s, double look_s = 0.0) {
  double worst = 0.0;
  for (std::int64_t k = std::llround(from_s * 500.0); k < std::llround(to_s * 500.0); ++k) {
    const std::int64_t now = 5'000'000'000'000 + k * 2'000'000;
    clock.add(far.trip(now));
    if (2e-3 * static_cast<double>(k) < look_s) continue;
    // Of an edge just before the next heartbeat.
    const std::int64_t at = now + 1'900'000;
    const double off = static_cast<double>(clock.ns(far.counter(static_cast<double>(at)), at) - at);
    worst = std::max(worst, std::fabs(off));
  }
  return worst;
}

// 0.5 us is what is asked for. Of 2048 delays with a mean of 20 us the shortest is 0.01 us too long
// on the average, at the ends of a hull's edge a few times that.
TEST(LinkClock, FindsOffsetAndDriftWithinHalfAMicrosecond) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  EXPECT_LT(worst_ns(clock, far, 0.0, 100.0, 10.0), 500.0);
  EXPECT_NEAR(clock.drift(), 50e-6, 0.3e-6);
  EXPECT_EQ(clock.steps(), 0U);
}

// As on a bus with time slots of 125 us: the shortest of 2048 is 0.06 us too long on the average.
TEST(LinkClock, FindsThemBehindSlotsOfABus) {
  Far far{.drift = -50e-6,
          .there = waiting_for_a_slot(40e3, 125e3),
          .back = waiting_for_a_slot(40e3, 125e3)};
  LinkClock clock(tick_Hz);
  EXPECT_LT(worst_ns(clock, far, 0.0, 100.0, 10.0), 500.0);
  EXPECT_NEAR(clock.drift(), -50e-6, 0.3e-6);
}

TEST(LinkClock, IsNotMovedByRoundTripsThatLieAboutForAMillisecond) {
  const auto now_and_then = [](std::mt19937& r) {
    const double usual = 40e3 + std::exponential_distribution(1.0 / 20e3)(r);
    return r() % 10 == 0 ? usual + 1.5e6 : usual;
  };
  Far far{.there = now_and_then, .back = now_and_then};
  LinkClock clock(tick_Hz);
  EXPECT_LT(worst_ns(clock, far, 0.0, 60.0, 10.0), 500.0);
}

TEST(LinkClock, LeavesOutWhatWasOvertaken) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 10.0);
  const std::int64_t now = 5'010'000'000'000;
  LinkClock::RoundTrip late = far.trip(now - 5'000'000);
  late.back_ns = now - 1'000'000;
  for (int k = 0; k < 100; ++k) clock.add(late);
  EXPECT_LT(worst_ns(clock, far, 10.0, 20.0), 500.0);
}

TEST(LinkClock, GoesOnBehindTwoSecondsOfSilence) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 10.0);
  EXPECT_LT(worst_ns(clock, far, 12.0, 30.0), 500.0);
  EXPECT_EQ(clock.steps(), 0U);
}

// 40 s of silence are more than a turn of the counter (32 s): the turn must be the right one.
TEST(LinkClock, KnowsTheTurnOfTheCounterBehindALongSilence) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 10.0);
  EXPECT_LT(worst_ns(clock, far, 50.0, 70.0, 60.0), 500.0);
}

// What cannot be seen from here: 10 us more on one way is 5 us, and the round trip bounds it.
TEST(LinkClock, IsWrongByHalfTheDifferenceOfTheShortestWays) {
  Far far{.there = waiting_at_random(50e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  EXPECT_NEAR(worst_ns(clock, far, 0.0, 30.0, 20.0), 5e3, 500.0);
  EXPECT_NEAR(clock.least_round_trip_ns(), 90e3, 5e3);
}

// Two edges a dead time apart, converted before and behind every heartbeat: 1 us stays within what
// the slew does to it (20 ppm), the rounding to ns and to ticks of 7.5 ns.
TEST(LinkClock, NeverFalsifiesADeadTime) {
  Far far{.there = waiting_for_a_slot(40e3, 125e3), .back = waiting_for_a_slot(40e3, 125e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 1.0);
  for (std::int64_t k = 500; k < 5000; ++k) {
    const std::int64_t now = 5'000'000'000'000 + k * 2'000'000;
    const auto at = static_cast<double>(now);
    const std::int64_t first = clock.ns(far.counter(at), now);
    clock.add(far.trip(now));
    const std::int64_t second = clock.ns(far.counter(at + 1e3), now);
    ASSERT_NEAR(static_cast<double>(second - first), 1e3, 10.0) << k;
  }
}

TEST(LinkClock, TurnsTimesIntoTicksAndBack) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 10.0);
  const std::int64_t now = 5'010'000'000'000;
  for (std::int64_t at = now - 100'000'000; at < now + 100'000'000; at += 999'983)
    EXPECT_NEAR(static_cast<double>(clock.ns(clock.tick(at), now) - at), 0.0, 5.0) << at;
}

TEST(LinkClock, BeginsAnewWithAChipThatWasReset) {
  Far far{.there = waiting_at_random(40e3, 20e3), .back = waiting_at_random(40e3, 20e3)};
  LinkClock clock(tick_Hz);
  worst_ns(clock, far, 0.0, 10.0);
  far.begin_ticks = -1.4e9;  // 0 after about 10 s
  clock.restart(tick_Hz);
  EXPECT_FALSE(clock.runs());
  EXPECT_LT(worst_ns(clock, far, 10.0, 30.0, 20.0), 500.0);
}

}  // namespace
}  // namespace stillrotor::io
