// Faults of encoder, sine and cosine, absolute angle: what a controller makes of its lines.
#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <numbers>

#include "tests/emulator/faults/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;

constexpr double speed_rad_s = 10.0, degree = std::numbers::pi / 180.0;
constexpr int lines = 256, counts_a_turn = 4 * lines;
constexpr std::int64_t turn_ps = 628'318'530'718;

/// A decoder of four counts a line: the textbook's table of (A, B) before and after.
struct Decoder {
  bool level[3] = {};
  long count = 0;
  int index_pulses = 0, steps_lost = 0;

  void edge(const io::Edge& e) {
    const auto k = io::index(e.line) - io::index(io::line::encoder_A);
    if (k > 2) return;
    const int before = place();
    level[k] = e.level == Level::high;
    const int step = (place() - before + 4) % 4;
    if (step == 2) ++steps_lost;
    count += step == 1 ? 1 : step == 3 ? -1 : 0;
    index_pulses += k == 2 && level[2];
  }
  int place() const { return level[0] ? (level[1] ? 2 : 1) : (level[1] ? 3 : 0); }
};

Decoder counted(std::int64_t lasts_ps, std::vector<Action> timeline) {
  Bench bench = turning_bench();
  bench.drive.encoder = {.fitted = true, .lines = lines, .index_rad = 1.0};
  ScriptedController controller(62'500);
  Decoder decoder;
  controller.on_edge = [&](const io::Edge& edge, ScriptedController&) { decoder.edge(edge); };
  KeepingSink sink;
  run(bench, turning(speed_rad_s, lasts_ps, std::move(timeline)), controller, sink);
  return decoder;
}

// By hand: 10 rad/s for 200 ms are 2 rad, 2 / 2 pi * 1024 = 325.9 counts; the index stands at 1
// rad. Exchanged lines count backwards (two counts of start and end are lost in the exchange at
// most). With A open, B alone goes forth and back. 10 deg are 28.4 counts, those that came in
// by 28.
TEST(EncoderFaults, ShowInTheCount) {
  struct Case {
    const char* name;
    std::vector<Action> timeline;
    long count, within;
    int index_pulses;
  };
  const FaultSettings ahead{{10.0 * degree, 20e-3}}, back{{-10.0 * degree, 20e-3}};
  const std::vector<Case> cases = {
      {"sound", {}, 325, 0, 1},
      {"swapped", {broken(0, encoder_lines_swapped)}, -325, 2, 1},
      {"A open", {broken(0, encoder_line_open, {{0}})}, 0, 1, 1},
      {"Z open", {broken(0, encoder_line_open, {{2}})}, 325, 0, 0},
      {"index", {broken(0, encoder_index_missing)}, 325, 0, 0},
      {"index back",
       {broken(0, encoder_index_missing), broken(50 * ms, encoder_index_missing, {}, true)},
       325,
       0,
       1},
      {"slips ahead", {broken(30 * ms, encoder_mount_slips, ahead)}, 325 + 28, 1, 1},
      {"slips back", {broken(30 * ms, encoder_mount_slips, back)}, 325 - 28, 1, 1},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(c.name);
    const Decoder seen = counted(200 * ms, c.timeline);
    EXPECT_NEAR(static_cast<double>(seen.count), static_cast<double>(c.count),
                static_cast<double>(c.within));
    EXPECT_EQ(seen.index_pulses, c.index_pulses);
    EXPECT_EQ(seen.steps_lost, 0);
  }
}

// Of 256 lines 10 % are dirty, 25.6 +- 4.8 (binomial); each costs four counts in every turn.
TEST(EncoderFaults, DirtTakesTheSameLinesInEachTurn) {
  const std::vector<Action> dirty = {broken(0, encoder_counts_lost, {{0.1}})};
  const long one = counted(turn_ps, dirty).count, two = counted(2 * turn_ps, dirty).count;
  const long lost = counts_a_turn - one;
  EXPECT_NEAR(static_cast<double>(lost) / 4.0, 25.6, 5.0 * 4.8);
  EXPECT_NEAR(static_cast<double>(two), static_cast<double>(2 * one), 4.0);
  EXPECT_EQ(counted(turn_ps, {broken(0, encoder_counts_lost, {{0.1}}),
                              broken(ms, encoder_counts_lost, {}, true)})
                .count,
            counted(turn_ps, {}).count);
}

Bench angle_bench(plant::AngleOutput output) {
  Bench bench = turning_bench();
  bench.drive.absolute_angle.output = output;
  return bench;
}

// By hand: 0.2 rad at 20 ms give code floor(0.2 / 2 pi * 4096) = 130; a period of 4 ms has 16 +
// 4096 + 16 clocks. Before the fault codes grow.
TEST(AbsoluteAngleFaults, StuckAngleKeepsItsPulse) {
  ScriptedController controller;
  KeepingSink sink;
  run(angle_bench(plant::AngleOutput::pwm),
      turning(speed_rad_s, 50 * ms,
              {broken(20 * ms + us, angle_stuck), broken(35 * ms, angle_stuck, {}, true)}),
      controller, sink);
  std::vector<std::int64_t> widths;
  std::int64_t rise_ps = 0;
  for (const io::Edge& e : controller.delivered) {
    if (e.line != io::line::angle_data) continue;
    if (e.level == Level::high) rise_ps = e.at.count();
    if (e.level == Level::low) widths.push_back(e.at.count() - rise_ps);
  }
  const auto width = [](int code) { return 4 * ms * (16 + code) / 4128; };
  const std::vector<std::int64_t> expected = {width(0),   width(26),  width(52),  width(78),
                                              width(104), width(130), width(130), width(130),
                                              width(130), width(234), width(260), width(286)};
  ASSERT_GE(widths.size(), expected.size());
  for (std::size_t k = 0; k < expected.size(); ++k)
    EXPECT_NEAR(static_cast<double>(widths[k]), static_cast<double>(expected[k]), 1.0) << k;
}

/// Frames of 16 bits at a standing shaft, whose sound frame is all zeros: the word of each.
std::vector<unsigned> spi_words(double probability, int frames) {
  ScriptedController controller;
  std::vector<unsigned> words;
  for (int n = 0; n < frames; ++n) {
    const std::int64_t begin_ps = 2 * ms + n * 40 * us;
    controller.drive(begin_ps, io::line::angle_select, Level::high);
    for (int k = 0; k < 32; ++k)
      controller.at(
          begin_ps + us + k * us / 2,
          [&words, k](io::World& w, io::Time t) {
            if (k == 0) words.push_back(0);
            if (k % 2 == 1)
              words.back() =
                  words.back() << 1 | (w.level(io::line::angle_data, t) == Level::high ? 1U : 0U);
            w.drive({t, io::line::angle_clock, k % 2 == 0 ? Level::high : Level::low});
          },
          true);
    controller.drive(begin_ps + 20 * us, io::line::angle_select, Level::low);
  }
  KeepingSink sink;
  run(angle_bench(plant::AngleOutput::spi),
      turning(0.0, 3 * ms + frames * 40 * us, {broken(ms, angle_frame_errors, {{probability}})}),
      controller, sink);
  return words;
}

// Bits go wrong one by one: of 500 * 16 with 1 % each, 80 +- 8.9. The sound word is even, so parity
// catches an odd number of wrong bits, and passes the rest: by hand, of frames with errors 1 -
// 0.99^16 = 14.9 %, those with two or more, 1.1 %, mostly pass; expected some 5 of 500.
TEST(AbsoluteAngleFaults, FrameErrorsHitBitsByTheirProbability) {
  for (const unsigned word : spi_words(0.0, 3)) EXPECT_EQ(word, 0U);
  for (const unsigned word : spi_words(1.0, 3)) EXPECT_EQ(word, 0xFFFFU);
  const std::vector<unsigned> words = spi_words(0.01, 500);
  ASSERT_EQ(words.size(), 500U);
  int wrong_bits = 0, caught = 0, passed = 0;
  for (const unsigned word : words) {
    const int wrong = std::popcount(word);
    wrong_bits += wrong;
    caught += wrong % 2;
    passed += wrong > 0 && wrong % 2 == 0;
  }
  EXPECT_NEAR(wrong_bits, 80.0, 5.0 * 8.9);
  EXPECT_NEAR(caught, 69.0, 5.0 * 7.7);
  EXPECT_NEAR(passed, 5.3, 5.0 * 2.3);
  EXPECT_EQ(words, spi_words(0.01, 500));
}

// By hand at 20 ms: 0.2 rad, five periods a turn: 1 rad of the period.
TEST(SinCosFaults, ChangeOneWaveAlone) {
  Bench bench = turning_bench();
  bench.drive.sin_cos.fitted = true;
  bench.drive.sin_cos.periods_per_turn = 5;
  struct Case {
    Action fault;
    double sine_V, cosine_V;
  };
  const double shifted = 1.0 + 5.0 * degree;
  const std::vector<Case> cases = {
      {broken(ms, sin_cos_degraded, {{0, 0.8, 0.05, 5.0 * degree}}), 2.55 + 0.4 * std::sin(shifted),
       2.5 + 0.5 * std::cos(1.0)},
      {broken(ms, sin_cos_degraded, {{1, 0.8, -0.05, 5.0 * degree}}), 2.5 + 0.5 * std::sin(1.0),
       2.45 + 0.4 * std::cos(shifted)},
      {broken(ms, sin_cos_degraded, {{0, 0.0, 0.0, 0.0}}), 2.5, 2.5 + 0.5 * std::cos(1.0)}};
  for (const Case& c : cases)
    for (const bool mended : {false, true}) {
      ScriptedController controller;
      double sine_V = 0.0, cosine_V = 0.0;
      controller.at(20 * ms, [&](io::World& w, io::Time t) {
        sine_V = w.volts(io::channel::angle_sin, t);
        cosine_V = w.volts(io::channel::angle_cos, t);
      });
      std::vector<Action> timeline = {c.fault};
      if (mended) timeline.push_back(broken(10 * ms, sin_cos_degraded, c.fault.settings, true));
      KeepingSink sink;
      run(bench, turning(speed_rad_s, 30 * ms, timeline), controller, sink);
      EXPECT_NEAR(sine_V, mended ? 2.5 + 0.5 * std::sin(1.0) : c.sine_V, 1e-6);
      EXPECT_NEAR(cosine_V, mended ? 2.5 + 0.5 * std::cos(1.0) : c.cosine_V, 1e-6);
    }
}

}  // namespace
}  // namespace stillrotor::test
