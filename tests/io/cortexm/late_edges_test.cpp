// Edges at pins that a chip hears later, as an encoder's are: what they do is what they would have
// done at once.
#include <gtest/gtest.h>

#include <array>
#include <deque>
#include <span>

#include "tests/io/cortexm/bare_chip.hpp"

namespace stillrotor::io::cortexm {
namespace {

using std::chrono_literals::operator""us;

// RM0090, 2.3, 8.4, 9.2, 12.3 and 18.4
constexpr Word gpio_a = 0x40020000, moder = 0x00, idr = 0x10, afr_low = 0x20, exti = 0x40013c00,
               rising = 0x08, pending = 0x14, exticr1 = 0x40013808;
constexpr Word tim2 = 0x40000000, cr1 = 0x00, cr2 = 0x04, smcr = 0x08, dier = 0x0c, sr = 0x10,
               ccmr1 = 0x18, ccmr2 = 0x1c, ccer = 0x20, cnt = 0x24, ccr3 = 0x3c;
constexpr PinId a{0, 0}, b{0, 1}, index_pin{0, 2};  // PA0, PA1, PA2: channels 1, 2, 3 of TIM2

struct Told {
  PinId pin;
  Level level;
  Time at;
};

/// A chip with TIM2 on a quadrature encoder, whose index captures the count.
struct Encoder {
  Encoder() {
    it.clock_everything();
    for (const Word pin : {0u, 1u, 2u})
      it.chip.set_input({0, static_cast<std::uint8_t>(pin)}, Level::low);
    it.set(gpio_a + afr_low, 0x111);
    it.set(gpio_a + moder, it.get(gpio_a + moder) | 0x2a);
    it.set(tim2 + ccmr1, 0x0101);
    it.set(tim2 + ccmr2, 0x0001);
    it.set(tim2 + ccer, 1u << 8);
    it.set(tim2 + smcr, 3);
    it.set(tim2 + cr1, 1);
  }
  bool all_keep() const {
    return it.chip.keeps_edges(a) && it.chip.keeps_edges(b) && it.chip.keeps_edges(index_pin);
  }
  void hear_late() {
    const std::array late{a, b, index_pin};
    it.chip.hear_late(late);
  }
  /// Forward, an edge each 3 us, and the index at the sixth.
  void turn(int edges) {
    constexpr Told quadrature[] = {
        {a, Level::high, {}}, {b, Level::high, {}}, {a, Level::low, {}}, {b, Level::low, {}}};
    const Time from = it.chip.now();
    for (int n = 0; n < edges; ++n) {
      Told edge = quadrature[n % 4];
      edge.at = from + (3 * n + 1) * 1us;
      coming.push_back(edge);
      if (n == 5) coming.push_back({index_pin, Level::high, edge.at + 1us});
    }
  }

  std::deque<Told> coming;
  int asked = 0;
  BareChip it{idle_program(), {.catch_up = [this](Time t) {
                ++asked;
                for (; !coming.empty() && coming.front().at < t; coming.pop_front())
                  it.chip.set_input(coming.front().pin, coming.front().level, coming.front().at);
              }}};
};

TEST(LateEdges, AreKeptAsLongAsNothingListens) {
  BareChip bare;
  EXPECT_TRUE(bare.chip.keeps_edges(a));
  Encoder encoder;
  BareChip& it = encoder.it;
  EXPECT_TRUE(encoder.all_keep());
  unsigned listeners = it.chip.listeners();
  const auto changed = [&] { return std::exchange(listeners, it.chip.listeners()) != listeners; };
  it.set(tim2 + dier, 1);  // running over interrupts
  EXPECT_TRUE(changed());
  EXPECT_FALSE(encoder.all_keep());
  it.set(tim2 + dier, 0);
  EXPECT_TRUE(encoder.all_keep());
  it.set(tim2 + cr2, 2u << 4);  // and triggers others
  EXPECT_FALSE(encoder.all_keep());
  it.set(tim2 + cr2, 0);
  EXPECT_TRUE(encoder.all_keep());
  it.set(tim2 + ccer, 1u << 8 | 1u << 12);  // channel 4 shows where the count is
  EXPECT_FALSE(encoder.all_keep());
  it.set(tim2 + ccer, 1u << 8);
  EXPECT_TRUE(changed());
  it.set(exti + rising, 1u << 1);
  EXPECT_TRUE(changed());
  EXPECT_FALSE(it.chip.keeps_edges(b));
  EXPECT_TRUE(it.chip.keeps_edges(a));
  it.set(exticr1, 1u << 4);  // line 1 is port B's
  EXPECT_TRUE(changed());
  EXPECT_TRUE(encoder.all_keep());
  it.get(tim2 + cnt);
  it.set(tim2 + sr, 0);
  EXPECT_FALSE(changed());
}

TEST(LateEdges, HaveComeBeforeARegisterIsLookedAt) {
  Encoder late, at_once;
  late.hear_late();
  late.turn(10);
  at_once.turn(10);
  for (int n = 0; n < 10; ++n) {
    for (const Told& edge : at_once.coming)
      if (edge.at <= at_once.it.chip.now() + 3us && edge.at > at_once.it.chip.now()) {
        at_once.it.chip.run(edge.at);
        at_once.it.chip.set_input(edge.pin, edge.level);
      }
    at_once.it.run(1us);
  }
  late.it.chip.run(at_once.it.chip.now());
  ASSERT_EQ(late.it.chip.now(), at_once.it.chip.now());
  EXPECT_EQ(late.asked, 0);
  EXPECT_EQ(late.it.get(gpio_a + idr) & 7, at_once.it.get(gpio_a + idr) & 7);
  EXPECT_EQ(late.asked, 1);
  EXPECT_EQ(late.it.get(tim2 + cnt), 10U);
  EXPECT_EQ(at_once.it.get(tim2 + cnt), 10U);
  EXPECT_EQ(late.it.get(tim2 + sr), at_once.it.get(tim2 + sr));
  EXPECT_EQ(late.it.get(tim2 + ccr3), 6U);
  EXPECT_EQ(at_once.it.get(tim2 + ccr3), 6U);
}

TEST(LateEdges, AreNotAskedForByWhoHearsNoneLate) {
  Encoder encoder;
  encoder.turn(4);
  encoder.it.run(20us);
  EXPECT_EQ(encoder.it.get(tim2 + cnt), 0U);
  encoder.it.set(tim2 + dier, 1);
  EXPECT_EQ(encoder.asked, 0);
}

// What came before nobody listened to; the count goes on from there.
TEST(LateEdges, ComeBeforeWhatListensChanges) {
  Encoder encoder;
  encoder.hear_late();
  encoder.turn(6);
  encoder.it.run(20us);
  encoder.it.set(exti + rising, 1);
  EXPECT_EQ(encoder.asked, 1);
  EXPECT_TRUE(encoder.coming.empty());
  EXPECT_EQ(encoder.it.get(exti + pending), 0U);
  EXPECT_EQ(encoder.it.get(tim2 + cnt), 6U);
  encoder.it.chip.set_input(a, Level::low);
  encoder.it.chip.set_input(a, Level::high);
  EXPECT_EQ(encoder.it.get(exti + pending), 1U);
}

}  // namespace
}  // namespace stillrotor::io::cortexm
