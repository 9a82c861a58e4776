// Frames as a page reads them, and triggers.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstring>
#include <random>

#include "emulator/handover/no_sink.hpp"
#include "emulator/panel/client_views.hpp"
#include "emulator/panel/frame_header.hpp"
#include "emulator/panel/panel_store.hpp"
#include "emulator/panel/panel_tap.hpp"

namespace stillrotor {
namespace {

constexpr double rate_Hz = 1'000.0;
constexpr std::array<std::uint8_t, io::line_bytes> all_low{};
constexpr auto time_0 = std::chrono::steady_clock::time_point{};
using namespace std::chrono_literals;

/// Values that say which point they are: 0, 1, 2 ...
void fill(RunSink& store, std::int64_t from, std::int64_t to) {
  for (std::int64_t k = from; k < to; ++k) {
    Frame frame;
    frame.at_ps = (k + 1) * 1'000'000'000;
    frame.value.fill(static_cast<float>(k));
    frame.least.fill(static_cast<float>(k) - 0.5F);
    frame.greatest.fill(static_cast<float>(k) + 0.5F);
    store.frame(frame);
  }
}

FrameHeader header_of(const FrameBytes& frame) {
  FrameHeader header;
  std::memcpy(&header, frame.data(), sizeof header);
  return header;
}
float float_at(const FrameBytes& frame, std::size_t number) {
  float value = 0.0F;
  std::memcpy(&value, frame.data() + sizeof(FrameHeader) + 4 * number, 4);
  return value;
}

FrameBytes frame_of(const ViewSource& source, const ViewSpec& view, const ViewWindow& window,
                    std::uint32_t sequence) {
  ShownColumns nothing;
  return scope_frame(source, view, window, sequence, nothing);
}

ViewSpec scope(double span_s, std::uint32_t columns) {
  ViewSpec view;
  view.kind = ViewSpec::Kind::scope;
  view.signals = {Signal::speed, Signal::torque};
  view.lines = {6};
  view.span_s = span_s;
  view.columns = columns;
  return view;
}

// By hand: 1000 points are 1 s; 10 columns of 100 ms hold points 99 k - 1 ... Column c from
// c * 0.1 s holds the points at c * 0.1 s, + 1 ms, ...: numbers 100 c - 1 to 100 c + 98, the first
// one without number -1.
TEST(PanelView, AScopeShowsFirstLeastGreatestAndLastOfEachColumn) {
  PanelStore store(rate_Hz, all_low);
  fill(store, 0, 1'000);
  store.edge({250'000'000'000, 6, 1});
  const ViewSpec view = scope(1.0, 10);
  const FrameBytes frame = frame_of(store, view, present_window(store, view), 3);
  const FrameHeader header = header_of(frame);
  EXPECT_EQ(header.version, 1);
  EXPECT_EQ(header.kind, FrameKind::scope);
  EXPECT_EQ(header.flags, frame_flag::follows);
  EXPECT_EQ(header.sequence, 3U);
  EXPECT_EQ(header.columns, 10U);
  EXPECT_EQ(header.signals, 2);
  EXPECT_EQ(header.lines, 1);
  EXPECT_NEAR(header.from_s, 0.0, 1e-12);
  EXPECT_NEAR(header.step_s, 0.1, 1e-12);
  EXPECT_TRUE(std::isnan(header.trigger_s));
  ASSERT_EQ(frame.size(), 64U + 2 * 4 * 10 * 4 + 10);
  for (std::size_t c = 0; c < 10; ++c) {
    const float first = c == 0 ? 0.0F : 100.0F * static_cast<float>(c) - 1.0F;
    const float last = 100.0F * static_cast<float>(c) + 98.0F;
    EXPECT_EQ(float_at(frame, c), first);
    EXPECT_EQ(float_at(frame, 10 + c), first);
    EXPECT_EQ(float_at(frame, 20 + c), last);
    EXPECT_EQ(float_at(frame, 30 + c), last);
    EXPECT_EQ(float_at(frame, 50 + c), first - 0.5F) << "least of the bins too";
    EXPECT_EQ(float_at(frame, 60 + c), last + 0.5F);
    const std::uint8_t line = frame[64 + 2 * 4 * 10 * 4 + c];
    EXPECT_EQ(line, c < 2 ? 1 : c == 2 ? 7 : 6) << c;
  }
}

TEST(PanelView, ZoomedInItShowsSinglePointsWithOneMoreOnEachSide) {
  PanelStore store(rate_Hz, all_low);
  fill(store, 0, 1'000);
  ViewSpec view = scope(0.02, 100);
  view.end_s = 0.5;
  const FrameBytes frame = frame_of(store, view, past_window(view), 0);
  const FrameHeader header = header_of(frame);
  EXPECT_EQ(header.flags, frame_flag::raw);
  // From 0.48 s, point 479, and the one before it, to 0.5 s, point 499.
  EXPECT_NEAR(header.from_s, 0.479, 1e-12);
  ASSERT_EQ(header.columns, 22U);
  EXPECT_EQ(float_at(frame, 0), 478.0F);
  EXPECT_EQ(float_at(frame, 21), 499.0F);
  EXPECT_NEAR(header.lines_from_s, 0.48, 1e-12);
  EXPECT_EQ(header.line_columns, 100U);
  EXPECT_EQ(frame.size(), 64U + 2 * 22 * 4 + 100);
}

TEST(PanelView, BeyondThePresentThereIsNothing) {
  PanelStore store(rate_Hz, all_low);
  fill(store, 0, 100);
  ViewSpec view = scope(1.0, 10);
  view.end_s = 1.0;
  const FrameBytes frame = frame_of(store, view, past_window(view), 0);
  EXPECT_FALSE(std::isnan(float_at(frame, 0)));
  EXPECT_TRUE(std::isnan(float_at(frame, 5)));
  EXPECT_EQ(frame.back(), 0);
  PanelStore empty(rate_Hz, all_low);
  view.end_s.reset();
  const FrameBytes none = frame_of(empty, view, present_window(empty, view), 0);
  EXPECT_TRUE(std::isnan(float_at(none, 9)));
}

TEST(PanelView, AStreamGivesEverySampleOnceAndSamplesTheNewest) {
  PanelStore store(rate_Hz, all_low);
  fill(store, 0, 100);
  ClientViews views;
  ViewSpec stream;
  stream.id = 2;
  stream.kind = ViewSpec::Kind::stream;
  stream.signals = {Signal::speed};
  views.set(stream, store);
  ViewSpec samples = stream;
  samples.id = 1;
  samples.kind = ViewSpec::Kind::samples;
  samples.count = 16;
  samples.every_s = 0.5;
  views.set(samples, store);
  std::int64_t next = 100, sampled = 0;
  for (int k = 0; k < 60; ++k) {
    fill(store, store.points(), store.points() + 37);
    views.turn(store, time_0 + k * 33ms);
    while (const auto frame = views.next_frame(store)) {
      const FrameHeader header = header_of(*frame);
      if (header.kind == FrameKind::samples) {
        ++sampled;
        EXPECT_EQ(header.columns, 16U);
        EXPECT_EQ(float_at(*frame, 15), static_cast<float>(store.points() - 1));
        continue;
      }
      for (std::size_t i = 0; i < header.columns; ++i)
        ASSERT_EQ(float_at(*frame, i), static_cast<float>(next++));
    }
  }
  EXPECT_EQ(next, store.points());
  // At 0, 0.528, 1.056, 1.584 s: at the first turn that is half a second behind the last one.
  EXPECT_EQ(sampled, 4);
  EXPECT_EQ(views.missed(), 0U);
  // 3 s without a frame: what is more than a second old is left out.
  fill(store, store.points(), store.points() + 3'000);
  views.turn(store, time_0 + 10s);
  const auto frame = views.next_frame(store);
  ASSERT_TRUE(frame);
}

TEST(PanelView, WhatAPageIsTooSlowForIsCountedAndNotQueued) {
  PanelStore store(rate_Hz, all_low);
  ClientViews views;
  views.set(scope(1.0, 10), store);
  for (int k = 0; k < 10; ++k) {
    fill(store, store.points(), store.points() + 33);
    views.turn(store, time_0 + k * 33ms);
  }
  EXPECT_EQ(views.missed(), 9U);
  EXPECT_TRUE(views.next_frame(store));
  EXPECT_FALSE(views.next_frame(store));
  views.turn(store, time_0 + 1s);
  EXPECT_FALSE(views.next_frame(store)) << "nothing new, nothing to show";
}

// What only moves on is the same as what is made anew.
TEST(PanelView, AViewThatFollowsKeepsWhatItShowedExactly) {
  PanelStore store(rate_Hz, all_low);
  std::mt19937 random(4);
  ShownColumns shown;
  const ViewSpec view = scope(0.7, 90);
  std::int64_t edge_ps = 0;
  for (std::uint32_t k = 0; k < 300; ++k) {
    fill(store, store.points(), store.points() + static_cast<std::int64_t>(random() % 60));
    if (k == 150) fill(store, store.points() + 5'000, store.points() + 5'001);
    for (; edge_ps < store.points() * 1'000'000'000; edge_ps += 1'000'000 * (random() % 20'000))
      store.edge({edge_ps, 6, static_cast<std::uint8_t>(random() % 2)});
    const ViewWindow window = present_window(store, view);
    ASSERT_EQ(scope_frame(store, view, window, k, shown), frame_of(store, view, window, k)) << k;
  }
}

TEST(PanelView, AStretchOfThePastIsSentAgainOnlyWhileItGrows) {
  PanelStore store(rate_Hz, all_low);
  fill(store, 0, 500);
  ClientViews views;
  ViewSpec view = scope(1.0, 10);
  view.end_s = 0.6;
  views.set(view, store);
  int frames = 0;
  for (int k = 0; k < 10; ++k) {
    views.turn(store, time_0 + k * 33ms);
    while (views.next_frame(store)) ++frames;
    fill(store, store.points(), store.points() + 50);
  }
  EXPECT_EQ(frames, 3);  // at 500, 550 and 600 points
}

struct Case {
  const char* name;
  TriggerSpec::Slope slope;
  double level;
  std::vector<double> wanted_s;  // of a sine of 5 Hz, amplitude 10, from 0
};

// By hand: 10 sin(2 pi 5 t) crosses 5 upwards at (asin 0.5) / (10 pi) = 16.667 ms, downwards at
// 83.333 ms. Tolerance: the chord of samples 1 ms apart, (0.001 s)^2 / 8 * amplitude * omega^2 over
// the slope: 4.4e-6 s at 5, and the float's rounding.
TEST(PanelTrigger, CatchesALevelBetweenTwoSamples) {
  using enum TriggerSpec::Slope;
  for (const Case& one :
       {Case{"up", rising, 5.0, {0.2 / 12}}, Case{"down", falling, 5.0, {1.0 / 12}},
        Case{"either", either, 5.0, {0.2 / 12}}, Case{"never", either, 10.5, {}}}) {
    SCOPED_TRACE(one.name);
    Trigger trigger;
    TriggerSpec spec;
    spec.on = TriggerSpec::On::level;
    spec.signal = Signal::torque;
    spec.level = one.level;
    spec.slope = one.slope;
    trigger.show_span(0.01);
    trigger.arm(spec, rate_Hz);
    for (int k = 0; k < 1'000; ++k) {
      Frame frame;
      frame.at_ps = std::int64_t{k} * 1'000'000'000;
      frame.value[static_cast<std::size_t>(Signal::torque)] =
          static_cast<float>(10.0 * std::sin(2.0 * M_PI * 5.0 * k * 1e-3));
      trigger.frame(frame);
      trigger.seen_until(k * 1e-3);
    }
    ASSERT_EQ(trigger.shown() != nullptr, !one.wanted_s.empty());
    for (const double wanted_s : one.wanted_s) EXPECT_NEAR(trigger.shown()->t_s, wanted_s, 6e-6);
  }
}

// None between two display frames is missed: 200 pulses of one point each, at random places.
TEST(PanelTrigger, RepeatingItMissesNoneThatHasRoomForItsSpan) {
  std::mt19937 random(3);
  Trigger trigger;
  TriggerSpec spec;
  spec.on = TriggerSpec::On::level;
  spec.level = 0.5;
  spec.slope = TriggerSpec::Slope::rising;
  spec.single = false;
  spec.before = 0.5;
  trigger.show_span(0.01);
  trigger.arm(spec, rate_Hz);
  std::vector<int> wanted, got;
  int next = 50;
  for (int k = 0; k < 20'000; ++k) {
    Frame frame;
    frame.at_ps = std::int64_t{k + 1} * 1'000'000'000;
    if (k == next) {
      frame.value[0] = 1.0F;
      wanted.push_back(k);
      next += 11 + static_cast<int>(random() % 60);
    }
    trigger.frame(frame);
    trigger.seen_until((k + 1) * 1e-3);
    if (trigger.take_news())
      got.push_back(static_cast<int>(std::lround(trigger.shown()->t_s * 1e3 - 0.5)));
  }
  if (got.size() + 1 == wanted.size()) wanted.pop_back();  // the last one's span was not all seen
  EXPECT_EQ(got, wanted);
}

TEST(PanelTrigger, HoldsASingleOneAndShowsThatPartOfTheRun) {
  PanelStore store(rate_Hz, all_low);
  ClientViews views;
  views.set(scope(0.1, 10), store);
  TriggerSpec spec;
  spec.on = TriggerSpec::On::edge;
  spec.line = 6;
  spec.slope = TriggerSpec::Slope::falling;
  views.arm(spec, store);
  views.trigger().edge({100, 6, 1});
  views.trigger().edge({100, 7, 0});
  views.trigger().edge({100, static_cast<std::uint16_t>(6 | tap::after_loss), 0});
  EXPECT_EQ(views.trigger().shown(), nullptr);
  views.trigger().edge({500'000'000'000, 6, 0});
  views.trigger().edge({600'000'000'000, 6, 0});
  fill(store, 0, 1'000);
  views.turn(store, time_0);
  const auto frame = views.next_frame(store);
  ASSERT_TRUE(frame);
  const FrameHeader header = header_of(*frame);
  EXPECT_EQ(header.flags, frame_flag::frozen);
  EXPECT_DOUBLE_EQ(header.trigger_s, 0.5);
  EXPECT_NEAR(header.from_s, 0.5 - 0.25 * 0.1, 1e-12);
}

TEST(PanelTrigger, WaitsForAMarkOfItsKindAndName) {
  using On = TriggerSpec::On;
  for (const auto& [on, name, caught] : {std::tuple{On::fault, "hall_line_open", 1.0},
                                         {On::fault, "", 1.0},
                                         {On::event, "", 2.0},
                                         {On::action, "throttle", 3.0},
                                         {On::fault, "phase_open", -1.0},
                                         {On::off, "", -1.0}}) {
    Trigger trigger;
    TriggerSpec spec;
    spec.on = on;
    spec.name = name;
    trigger.arm(spec, rate_Hz);
    trigger.mark(MarkKind::fault, 1'000'000'000'000, "hall_line_open");
    trigger.mark(MarkKind::event, 2'000'000'000'000, "all gates off");
    trigger.mark(MarkKind::action, 3'000'000'000'000, "throttle");
    EXPECT_EQ(trigger.shown() != nullptr ? trigger.shown()->t_s : -1.0, caught);
  }
}

TEST(PanelTap, SaysWhereLinesStandAfterALossAndTheRecordHasEverything) {
  struct Counted final : RunSink {
    std::size_t edges = 0;
    void frame(const Frame&) noexcept override {}
    void edge(const LineEdge&) noexcept override { ++edges; }
    void mark(MarkKind, std::int64_t, std::string_view, std::string_view,
              std::int64_t) noexcept override {}
  } record;
  PanelTap tap(all_low);
  tap.in_front_of(record);
  PanelStore store(rate_Hz, all_low);
  const std::size_t more = DroppingSink::edges_most + 5'001;
  for (std::size_t k = 0; k < more; ++k)  // the last one sets it high
    tap.edge({static_cast<std::int64_t>(k + 1), 6, static_cast<std::uint8_t>(k % 2 == 0)});
  EXPECT_EQ(record.edges, more);
  EXPECT_EQ(tap.not_seen(), 5'001U);
  tap.deliver(store);
  const auto level = [&](double at_s) {
    std::array<std::uint8_t, 1> column{};
    store.line(6, at_s, 1e-12, column);
    return column[0];
  };
  tap.edge({10'000'000'000'000, 7, 1});  // of another line: what it says of this one
  tap.deliver(store);
  fill(store, 0, 20'000);
  EXPECT_EQ(level(68'000e-12), 0) << "between the loss and the next word of it";
  EXPECT_EQ(level(5.0), line_column::was_high | line_column::ends_high);
}

}  // namespace
}  // namespace stillrotor
