// Both ends of the link on a wire that loses, repeats, delays, turns bits and breaks: in virtual
// time, seeded.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <map>
#include <memory>
#include <random>
#include <vector>

#include "tests/io/link/support/board.hpp"

namespace stillrotor::io {

inline constexpr std::int64_t ms = 1'000'000, s = 1'000'000'000, begin_ns = 7'000 * s;
inline constexpr double drift = 50e-6;

struct Faults {
  double lost = 0.0, repeated = 0.0, overtaken = 0.0, spoilt = 0.0;  // share of the frames
};

/// One direction; each frame takes 40 us and some more.
class FaultyWire {
 public:
  FaultyWire(std::uint32_t seed, Faults faults) : faults_(faults), random_(seed) {}
  void put(std::vector<std::uint8_t> frame, std::int64_t now_ns) {
    if (broken || chance(faults_.lost)) return;
    if (chance(faults_.spoilt)) {
      std::uint8_t& byte = frame[random_() % frame.size()];
      byte = static_cast<std::uint8_t>(byte ^ 1U << random_() % 8);
    }
    std::int64_t at = now_ns + 40'000 + static_cast<std::int64_t>(random_() % 20'000);
    if (chance(faults_.overtaken))
      at += 2 * ms;
    else
      at = last_ = std::max(at, last_);
    if (chance(faults_.repeated))
      way_.emplace(at + static_cast<std::int64_t>(random_() % (3 * ms)), frame);
    way_.emplace(at, std::move(frame));
  }
  template <class F>
  void arrive(std::int64_t now_ns, F&& f) {
    while (!way_.empty() && way_.begin()->first <= now_ns) {
      f(way_.begin()->second, way_.begin()->first);
      way_.erase(way_.begin());
    }
  }
  bool broken = false;

 private:
  bool chance(double share) {
    return share > 0.0 && static_cast<double>(random_() & 0xffffffU) < share * 0x1p24;
  }
  Faults faults_;
  std::mt19937 random_;
  std::int64_t last_ = 0;
  std::multimap<std::int64_t, std::vector<std::uint8_t>> way_;
};

class FaultyBench : public LinkSession::Wire {
 public:
  explicit FaultyBench(Faults faults = {}) : down(1, faults), up(2, faults) {
    session = std::make_unique<LinkSession>(board_settings(), *captured);
    session->connected(1, now());
  }

  std::int64_t now() const {
    return begin_ns + std::llround(static_cast<double>(ticks) * 40.0 / (1.0 + drift));
  }
  bool send(std::span<const std::uint8_t> frame) override {
    down.put({frame.begin(), frame.end()}, now());
    return true;
  }

  void run(std::int64_t lasts_ns) {
    for (const std::int64_t until = now() + lasts_ns; now() < until;) step();
  }
  std::uint32_t tick_at(std::int64_t ns) const {
    return tick_0 + static_cast<std::uint32_t>(static_cast<std::int64_t>(
                        static_cast<double>(ns - begin_ns) * (1.0 + drift) / 40.0));
  }
  void step() {
    make_edges();
    ticks += Board::step_ticks;
    down.arrive(now(), [&](const auto& frame, std::int64_t at) {
      board.hear(frame, tick_at(at) - reset_tick);
      frames_out(at);
    });
    board.step_until(tick_0 + static_cast<std::uint32_t>(ticks) - reset_tick);
    frames_out(now());
    up.arrive(now(), [&](const auto& f, std::int64_t at) { session->take(f, at); });
    if (now() - last_ms >= ms) {
      last_ms = now();
      if (cycle_runs) {
        Ahead a;
        a.at_ns = now() + 3 * ms;
        a.motion = {1e-9 * static_cast<double>(a.at_ns - begin_ns) * 50.0, 50.0, 0.0};
        a.source_V = 72.0;
        session->ahead(a);
      }
      session->due(now(), *this);
      read();
    }
  }
  void frames_out(std::int64_t at) {
    for (auto zero = board.out.begin();
         (zero = std::find(board.out.begin(), board.out.end(), 0)) != board.out.end();) {
      up.put({board.out.begin(), zero + 1}, at);
      board.out.erase(board.out.begin(), zero + 1);
    }
  }
  void reset(std::uint16_t number) {
    reset_tick = tick_0 + static_cast<std::uint32_t>(ticks);
    board.reset(number);
  }
  void read() {
    batch->clear();
    captured->read(*batch, now());
    got.insert(got.end(), batch->edges.begin(),
               batch->edges.begin() + static_cast<std::ptrdiff_t>(batch->edge_count));
    gaps.insert(gaps.end(), batch->gaps.begin(),
                batch->gaps.begin() + static_cast<std::ptrdiff_t>(batch->gap_count));
    for (LinkReport r; session->next_report(r);) reports.push_back(r);
  }
  /// Linked, parameters in force, clock known and settled.
  void settle(std::int64_t lasts_ns = 3 * s) {
    run(lasts_ns);
    ASSERT_TRUE(session->status().running);
    armed_ns = now();
    captured->arm(armed_ns);
    sent.clear();
  }

  /// 240,000 edges a second: every 104 ticks one gate of six, the low and the high ones in turn.
  void make_edges() {
    if (!edges_flow) return;
    for (; next_edge_tick < ticks + Board::step_ticks; next_edge_tick += 104) {
      const std::uint32_t bit = 1U << edge_number++ % 6;
      gates ^= bit;
      const auto tick = static_cast<std::uint32_t>(tick_0 + next_edge_tick);
      board.edges.push_back({tick, gates});
      const std::int64_t at =
          begin_ns + std::llround(static_cast<double>(next_edge_tick) * 40.0 / (1.0 + drift));
      sent.push_back({Time{(at - armed_ns) * 1000},
                      LineId(static_cast<std::uint16_t>(std::countr_zero(bit))),
                      (gates & bit) != 0 ? Level::high : Level::low});
    }
  }

  bool in_gap(const Edge& e) const {
    return std::any_of(gaps.begin(), gaps.end(), [&](const Gap& g) {
      return g.line == e.line && g.from - us <= e.at && e.at <= g.to + us;
    });
  }
  /// Every edge that was sent is read once, at its time, or lies in a gap; none is invented
  /// outside.
  void expect_every_edge_read_or_in_a_gap() {
    std::map<std::uint16_t, std::vector<Edge>> read_of;
    for (const Edge& e : got)
      if (e.at > Time{0} && !in_gap(e)) read_of[static_cast<std::uint16_t>(e.line)].push_back(e);
    std::map<std::uint16_t, std::size_t> next;
    std::size_t whole = 0;
    for (const Edge& e : sent) {
      if (e.at <= us || e.at > Time{(now() - armed_ns - 5 * ms) * 1000} || in_gap(e)) continue;
      auto& read = read_of[static_cast<std::uint16_t>(e.line)];
      std::size_t& k = next[static_cast<std::uint16_t>(e.line)];
      while (k < read.size() && read[k].at < e.at - us) ++k;  // of before, or of the last 5 ms
      ASSERT_LT(k, read.size()) << "lost at " << e.at.count() / 1000 << " ns and not told";
      ASSERT_NEAR(static_cast<double>((read[k].at - e.at).count()) * 1e-6, 0.0, 0.54)
          << "us: 0.5 of the clock and a tick of 40 ns";
      ASSERT_EQ(read[k].level, e.level);
      ++k;
      ++whole;
    }
    whole_edges = whole;
  }

  static constexpr Time us{1'000'000};
  std::int64_t ticks = 0, last_ms = 0, armed_ns = 0;
  const std::uint32_t tick_0 = 0xffff0000U;
  std::uint32_t reset_tick = 0;  // at which the counter began anew
  std::int64_t next_edge_tick = 1000;
  std::uint32_t gates = 0, edge_number = 0;
  bool edges_flow = true, cycle_runs = true;
  FaultyWire down, up;
  Board board{77, tick_0};
  std::unique_ptr<CapturedEdges> captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
  std::unique_ptr<LinkSession> session;
  std::vector<Edge> got, sent;
  std::vector<Gap> gaps;
  std::vector<LinkReport> reports;
  std::size_t whole_edges = 0;
};

}  // namespace stillrotor::io
