// Payloads: every field comes back, every layout has the length that the document states.
#include "io/link/frames/payload.h"

#include <gtest/gtest.h>

#include <cstring>
#include <random>
#include <vector>

namespace {

template <class T>
T random_words(std::uint32_t seed) {
  std::mt19937 random(seed);
  T x{};
  std::vector<std::uint32_t> words(sizeof(T) / 4);
  for (auto& w : words) w = static_cast<std::uint32_t>(random());
  std::memcpy(&x, words.data(), 4 * words.size());
  return x;
}

/// Writes it, reads it, writes it: both writings are the same, and `bytes` long; one byte less is
/// over.
template <class T>
T there_and_back(void (*walk)(lf_walk*, T*), T x, std::uint32_t bytes) {
  std::vector<std::uint8_t> first(2000), second(2000);
  lf_walk w = lf_writing(first.data(), 2000);
  walk(&w, &x);
  EXPECT_EQ(w.at, bytes);
  T y{};
  lf_walk r = lf_reading(first.data(), w.at);
  walk(&r, &y);
  EXPECT_TRUE(lf_whole(&r));
  lf_walk again = lf_writing(second.data(), 2000);
  walk(&again, &y);
  EXPECT_EQ(first, second);
  for (std::uint32_t n = 0; n < bytes; ++n) {
    T z{};
    lf_walk shorter = lf_reading(first.data(), n);
    walk(&shorter, &z);
    EXPECT_FALSE(lf_whole(&shorter)) << n;
  }
  return y;
}

TEST(Payload, OfAReportHoldsAllOfIt) {
  const auto x = random_words<cp_report>(1);
  static_assert(sizeof(cp_report) == 96, "a new field: into the walk and docs/link-format.md");
  const cp_report y = there_and_back(lf_walk_report, x, 96);
  EXPECT_EQ(std::memcmp(&x, &y, sizeof x), 0);
}

TEST(Payload, OfParametersHoldsAllOfThem) {
  const auto x = random_words<cp_parameters>(2);
  cp_parameters y = there_and_back(lf_walk_parameters, x, LF_PARAMETER_BYTES);
  // Behind an odd number of 16-bit words stand two bytes that nobody uses.
  static_assert(sizeof(cp_parameters) == LF_PARAMETER_BYTES + 2,
                "a new field: into the walk and docs/link-format.md");
  auto* hole = reinterpret_cast<std::uint8_t*>(y.plant.flux_shape + CP_SHAPE_POINTS + 1);
  std::memcpy(hole, x.plant.flux_shape + CP_SHAPE_POINTS + 1, 2);
  EXPECT_EQ(std::memcmp(&x, &y, sizeof x), 0);
}

TEST(Payload, OfCommandsHoldsWhatTheirKindHas) {
  cp_command c{};
  c.kind = CP_PIECE;
  c.u.piece = {1, 0x80000001U, -2'000'000'000'000, 0x123456789abcdef};
  const cp_command piece = there_and_back(lf_walk_command, c, 28);
  EXPECT_EQ(piece.u.piece.at, 1U);
  EXPECT_EQ(piece.u.piece.theta, 0x80000001U);
  EXPECT_EQ(piece.u.piece.rate, -2'000'000'000'000);
  EXPECT_EQ(piece.u.piece.change, 0x123456789abcdef);
  c = {};
  c.kind = CP_SUPPLY;
  c.at = 7;
  c.u.source_V = -5;
  EXPECT_EQ(there_and_back(lf_walk_command, c, 12).u.source_V, -5);
  c = {};
  c.kind = CP_HEAT;
  c.at = 9;
  c.u.heat.resistance = {-3, 4};
  c.u.heat.flux_scale = 5;
  const cp_command heat = there_and_back(lf_walk_command, c, 20);
  EXPECT_EQ(heat.u.heat.resistance.factor, -3);
  EXPECT_EQ(heat.u.heat.resistance.shift, 4U);
  EXPECT_EQ(heat.u.heat.flux_scale, 5);
  c = {};
  c.kind = CP_SWITCH;
  c.u.levels = CP_KEY | CP_REVERSE;
  EXPECT_EQ(there_and_back(lf_walk_command, c, 12).u.levels, c.u.levels);
  c = {};
  c.kind = CP_TELL;
  c.u.tell = {3, -2048};
  const cp_command tell = there_and_back(lf_walk_command, c, 16);
  EXPECT_EQ(tell.u.tell.channel, 3U);
  EXPECT_EQ(tell.u.tell.code, -2048);
  for (std::uint32_t kind : {CP_ALIVE, CP_CLEAR_TRIP, CP_ARM, CP_MAKE_SAFE}) {
    c = {};
    c.kind = kind;
    c.at = 11;
    EXPECT_EQ(there_and_back(lf_walk_command, c, 8).at, 11U);
  }
}

TEST(Payload, OfTheSmallKindsHaveTheirLengths) {
  there_and_back(lf_walk_hello, {1, 2, 3, 4, 5, 6, 7, 8, 9}, 28);
  there_and_back(lf_walk_beat, {1, 2, 3, 4, 5, 6}, 24);
  there_and_back(lf_walk_part, {1, 2, 3}, 8);
  there_and_back(lf_walk_edges, {1, 2, 3}, LF_EDGES_HEAD);
  there_and_back(lf_walk_edge, {1, 2}, LF_EDGE_BYTES);
  there_and_back(lf_walk_refusal, {1, 2, 3, 4, 5}, 8);
  static_assert(LF_EDGES_HEAD + LF_EDGES_MAX * LF_EDGE_BYTES <= LF_PAYLOAD_MAX);
  static_assert(8 + LF_PART <= LF_PAYLOAD_MAX);
}

// A block whose indices or shifts leave their places must not reach the core.
TEST(Payload, OfParametersIsRefusedWhereItWouldLeaveItsPlaces) {
  cp_parameters good{};
  good.step_ticks = good.plant.step_ticks = good.track.step_ticks = good.angle.step_ticks =
      good.trip.step_ticks = 125;
  good.report_steps = 100;
  good.silence_ticks = 1'000'000;
  good.plant.flux_shift = 1;
  ASSERT_TRUE(lf_parameters_hold(&good));
  const auto refused = [&](auto change) {
    cp_parameters p = good;
    change(p);
    return lf_parameters_hold(&p) == 0U;
  };
  EXPECT_TRUE(refused([](auto& p) { p.step_ticks = 0; }));
  EXPECT_TRUE(refused([](auto& p) { p.plant.step_ticks = 124; }));
  EXPECT_TRUE(refused([](auto& p) { p.channels = CP_CHANNELS + 1; }));
  EXPECT_TRUE(refused([](auto& p) { p.report_steps = 0; }));
  EXPECT_TRUE(refused([](auto& p) { p.silence_ticks = 0x80000000U; }));
  EXPECT_TRUE(refused([](auto& p) { p.plant.flux_shift = 0; }));
  EXPECT_TRUE(refused([](auto& p) { p.plant.link_charge.shift = 32; }));
  EXPECT_TRUE(refused([](auto& p) { p.track.fastest = 1U << 24; }));
  EXPECT_TRUE(refused([](auto& p) { p.angle.word_bits = 21; }));
  EXPECT_TRUE(refused([](auto& p) { p.sense[7].what = CP_SENSE_TOLD + 1; }));
}

}  // namespace
