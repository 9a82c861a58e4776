// Both ends of the link on a wire that loses, repeats, delays, turns bits and breaks: in virtual
// time, seeded. Whatever it does, a gate edge is read or lies in a gap, and outputs fall safe on
// silence.
#include "io/link/session.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <map>
#include <memory>
#include <random>

#include "io/link/frames/crc32.h"
#include "tests/io/link/support/board.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t ms = 1'000'000, s = 1'000'000'000, begin_ns = 7'000 * s;
constexpr double drift = 50e-6;

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

class Bench : public LinkSession::Wire {
 public:
  explicit Bench(Faults faults = {}) : down(1, faults), up(2, faults) {
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

TEST(LinkSession, BringsEveryEdgeAtItsTimeOverAGoodWire) {
  Bench b;
  b.settle(10 * s);
  b.run(1 * s);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_TRUE(b.gaps.empty());
  EXPECT_GT(b.whole_edges, 238'000U);
  const LinkStatus& st = b.session->status();
  EXPECT_EQ(st.lost_edges + st.missed_frames + st.dropped_frames + st.spoilt_frames, 0U);
  EXPECT_EQ(st.refusals + st.silences + st.resets + st.falls, 0U);
  EXPECT_NEAR(st.drift, drift, 0.3e-6);
}

TEST(LinkSession, FindsEveryGapOfAWireThatLosesRepeatsOvertakesAndSpoils) {
  Bench b({.lost = 0.01, .repeated = 0.01, .overtaken = 0.01, .spoilt = 0.01});
  b.settle(10 * s);
  b.run(2 * s);
  b.expect_every_edge_read_or_in_a_gap();
  const LinkStatus& st = b.session->status();
  EXPECT_GT(b.gaps.size(), 100U);
  EXPECT_GT(b.whole_edges, 400'000U) << "most of 480,000 are outside";
  EXPECT_GT(st.missed_frames, 100U);
  EXPECT_GT(st.dropped_frames, 100U);
  EXPECT_GT(st.spoilt_frames, 100U);
  EXPECT_EQ(st.silences + st.resets, 0U);
  EXPECT_GT(b.captured->counts().lost_edges, 5'000U) << "3 % of 480,000, by their numbers";
}

TEST(LinkSession, TellsALossThatIsTheLastThingToHappen) {
  Bench b;
  b.settle();
  b.run(100 * ms);
  b.up.broken = true;
  b.run(2 * ms);
  b.edges_flow = false;
  b.run(3 * ms);
  b.up.broken = false;
  b.run(100 * ms);
  EXPECT_FALSE(b.gaps.empty()) << "by the number in a heartbeat: no frame of edges came after it";
  b.expect_every_edge_read_or_in_a_gap();
}

TEST(LinkSession, FallsSafeOnABrokenWireComesBackAndGoesLiveOnlyWhenTold) {
  Bench b;
  b.settle(10 * s);
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  ASSERT_TRUE(b.session->status().live);
  b.up.broken = b.down.broken = true;
  b.run(19 * ms);
  EXPECT_TRUE(b.board.driven);
  b.run(3 * ms);
  EXPECT_FALSE(b.board.driven) << "20 ms without a command";
  b.run(1978 * ms);
  EXPECT_FALSE(b.session->status().linked);
  b.up.broken = b.down.broken = false;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
  EXPECT_FALSE(b.session->status().live);
  EXPECT_EQ(b.session->status().silences, 1U);
  EXPECT_EQ(b.session->status().falls, 1U);
  EXPECT_EQ(b.board.drives, 1);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_GT(b.session->status().lost_edges, 470'000U) << "2 s of 240,000, by their numbers";
  b.session->want_live();
  b.run(100 * ms);
  EXPECT_TRUE(b.board.driven);
}

TEST(LinkSession, ForgetsAnOrderToGoLiveWhoseEffectItNeverSaw) {
  Bench b;
  b.settle();
  b.up.broken = true;  // the order arrives, no report says so
  b.session->want_live();
  b.run(5 * ms);
  ASSERT_TRUE(b.board.driven);
  b.down.broken = true;
  b.run(300 * ms);
  ASSERT_FALSE(b.board.driven);
  b.up.broken = b.down.broken = false;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
}

TEST(LinkSession, IgnoresAnOrderToGoLiveThatCameWhileTheLinkWasDown) {
  Bench b;
  b.settle();
  b.session->want_live();
  b.session->disconnected();
  b.run(100 * ms);
  b.session->want_live();
  b.run(100 * ms);
  b.session->connected(2, b.now());
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
}

// The chip's first hello may have left before Linux' hello came: it is no answer.
TEST(LinkSession, OpensItsSessionThoughTheChipSpokeFirst) {
  Bench b;
  b.down.broken = true;
  b.run(30 * ms);
  b.down.broken = false;
  b.run(1 * s);
  EXPECT_TRUE(b.session->status().running);
}

TEST(LinkSession, ComesBackOverANewConnection) {
  Bench b;
  b.settle(10 * s);
  b.session->disconnected();
  b.up.broken = b.down.broken = true;
  b.run(300 * ms);
  b.up.broken = b.down.broken = false;
  b.session->connected(2, b.now());
  b.run(300 * ms);
  EXPECT_TRUE(b.session->status().running);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_FALSE(b.gaps.empty());
}

TEST(LinkSession, FallsSafeWhenTheCycleHangsThoughTheLinkGoesOn) {
  Bench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.cycle_runs = false;
  b.run(30 * ms);
  EXPECT_FALSE(b.board.driven);
  EXPECT_TRUE(b.session->status().linked);
  EXPECT_FALSE(b.gaps.empty()) << "what the controller saw from here on was not the plant";
}

TEST(LinkSession, MakesSafeAndStaysThere) {
  Bench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.session->make_safe();
  b.run(5 * ms);
  EXPECT_FALSE(b.board.driven);
  b.session->want_live();
  b.run(100 * ms);
  EXPECT_FALSE(b.board.driven);
}

TEST(LinkSession, StartsAChipAnewThatWasResetAndTellsTheGap) {
  Bench b;
  b.settle(10 * s);
  b.session->want_live();
  b.run(100 * ms);
  b.edges_flow = false;  // their ticks would be of the counter before
  b.run(10 * ms);
  b.reset(78);
  EXPECT_FALSE(b.board.driven);
  b.run(1 * s);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_EQ(b.session->status().resets, 1U);
  EXPECT_FALSE(b.session->status().live);
  EXPECT_FALSE(b.board.driven);
  ASSERT_FALSE(b.gaps.empty());
}

TEST(LinkSession, TellsWhatTheChipItselfHasLostAsAGap) {
  Bench b;
  b.settle();
  b.run(50 * ms);
  ASSERT_TRUE(b.gaps.empty());
  b.board.lost_edges = 3;  // by the capture
  b.run(10 * ms);
  EXPECT_EQ(b.gaps.size(), 6U) << "one of each gate";
}

// Each report beside the steps of the core that it speaks of: 100 of them, and the last one's end.
TEST(LinkSession, BringsMeanCurrentsInAmperes) {
  Bench b;
  b.edges_flow = false;
  b.settle();
  const auto& core = b.board.chip.core.plant;
  const double ampere = board_settings().plant.scale.ampere;
  b.board.edges.push_back({b.board.counter + 70, CP_UH | CP_VL | CP_WL});
  b.board.edges.push_back({b.board.counter + 7'070, CP_UL | CP_VL | CP_WL});
  std::vector<double> i_U;
  b.reports.clear();
  while (b.reports.size() < 20) {
    b.step();
    i_U.push_back(core.plant.i[0] * ampere);
  }
  int found = 0;
  double largest = 0.0;
  for (const LinkReport& r : b.reports) {
    EXPECT_NEAR(r.lasts_s, 1e-3, 1e-9);
    EXPECT_NEAR(r.bus_V, 72.0, 5.0);
    largest = std::max(largest, r.mean_A[0]);
    for (std::size_t k = 99; k < i_U.size() && r.end_A[0] != 0.0; ++k) {
      double sum = 0.0;
      for (std::size_t n = k - 99; n <= k; ++n) sum += i_U[n];
      if (i_U[k] == r.end_A[0] && std::fabs(sum / 100.0 - r.mean_A[0]) < 1e-9) {
        ++found;
        break;
      }
    }
  }
  EXPECT_GT(largest, 10.0);
  EXPECT_GE(found, 15) << "the first ones began before the test looked";
}

// The angle that the outputs show is what was sent ahead: 50 rad/s from begin_ns on.
TEST(LinkSession, LeadsTheAngleThatWasSentAhead) {
  Bench b;
  b.settle(10 * s);
  b.run(100 * ms);
  const LinkReport& r = b.reports.back();
  const double due =
      std::remainder(1e-9 * static_cast<double>(r.theta_at_ns - begin_ns) * 50.0 - r.theta_m_rad,
                     6.28318530717958648);
  EXPECT_NEAR(due, 0.0, 50.0 * 0.54e-6 + 1e-6) << "0.54 us at 50 rad/s, and what joints may miss";
  EXPECT_EQ(b.board.chip.core.motion.track.late_pieces, 0U);
}

TEST(LinkSession, SaysWhenAChipCannotRunItsParameters) {
  Bench b;
  b.board.chip.hello.tick_Hz = 24'000'000;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().unfit);
  EXPECT_FALSE(b.session->status().running);
}

TEST(LinkSession, ShowsNothingElseInPlaceOfWhatTheChipCannotShow) {
  Bench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.cycle_runs = false;
  Ahead a;
  a.at_ns = b.now() + 3 * ms;
  a.source_V = 500.0;  // of 100
  b.session->ahead(a);
  b.run(5 * ms);
  EXPECT_FALSE(b.board.driven);
  EXPECT_TRUE(b.session->status().unfit);
}

// ---- the chip's end by itself ----

class ChipEnd : public testing::Test {
 protected:
  void send(std::uint8_t kind, std::uint32_t sequence, lf_walk (*fill)(lf_frame&),
            std::uint16_t session = 1, std::uint8_t version = LF_VERSION) {
    lf_frame f{};
    f.version = version;
    f.kind = kind;
    f.session = session;
    f.sequence = sequence;
    f.length = fill != nullptr ? fill(f).at : 0;
    std::uint8_t wire[LF_WIRE_MAX];
    const std::uint32_t n = lf_encode(&f, wire);
    board.in.insert(board.in.end(), wire, wire + n);
    for (int k = 0; k < 8; ++k) board.step_until(board.counter + Board::step_ticks);
  }
  static lf_walk hello(lf_frame& f) {
    lf_walk w = lf_writing(f.payload, LF_PAYLOAD_MAX);
    lf_hello h{1, 1, LF_LINUX, 0, 0, 0, 0, 0, 0};
    lf_walk_hello(&w, &h);
    return w;
  }
  /// The last frame of a kind that came out.
  bool last(std::uint8_t kind, lf_frame& found) {
    lf_parser p{};
    lf_frame f{};
    bool any = false;
    for (std::uint8_t byte : board.out)
      if (lf_byte_in(&p, byte, &f) != 0 && f.kind == kind) found = f, any = true;
    return any;
  }
  std::uint8_t reason() {
    lf_frame f{};
    if (!last(LF_REFUSAL, f)) return 0;
    lf_walk w = lf_reading(f.payload, f.length);
    lf_refusal r{};
    lf_walk_refusal(&w, &r);
    board.out.clear();
    return r.reason;
  }
  void start() {
    send(LF_HELLO, 1, hello);
    const LinkSettings settings = board_settings();
    std::uint8_t block[LF_PARAMETER_BYTES];
    cp_parameters p = settings.parameters;
    lf_walk w = lf_writing(block, sizeof block);
    lf_walk_parameters(&w, &p);
    send_block(block);
    board.out.clear();
  }
  void send_block(const std::uint8_t* block) {
    crc = lf_crc32(block, LF_PARAMETER_BYTES);
    for (std::uint32_t at = 0; at < LF_PARAMETER_BYTES; at += LF_PART) {
      static lf_part part;
      static const std::uint8_t* bytes;
      static std::uint32_t count;
      part = {crc, LF_PARAMETER_BYTES, static_cast<std::uint16_t>(at)};
      bytes = block + at;
      count = std::min<std::uint32_t>(LF_PART, LF_PARAMETER_BYTES - at);
      send(LF_PARAMETERS, next_++, [](lf_frame& f) {
        lf_walk w = lf_writing(f.payload, LF_PAYLOAD_MAX);
        lf_walk_part(&w, &part);
        for (std::uint32_t k = 0; k < count; ++k) {
          std::uint8_t byte = bytes[k];
          lf_u8(&w, &byte);
        }
        return w;
      });
    }
  }
  void arm(std::uint32_t at, std::uint32_t sequence) {
    static std::uint32_t tick;
    tick = at;
    send(LF_COMMAND, sequence, [](lf_frame& f) {
      lf_walk w = lf_writing(f.payload, LF_PAYLOAD_MAX);
      cp_command c{};
      c.kind = CP_ARM;
      c.at = tick;
      lf_walk_command(&w, &c);
      return w;
    });
  }
  Board board;
  std::uint32_t next_ = 10, crc = 0;
};

TEST_F(ChipEnd, RefusesAnOldOrderToArm) {
  start();
  ASSERT_NE(board.chip.in_force, 0U);
  const std::uint32_t silence = board.chip.parameters.silence_ticks;
  arm(board.counter - silence - 100'000, 100);
  EXPECT_EQ(reason(), LF_BAD_TIME);
  arm(board.counter + silence + 100'000, 101);
  EXPECT_EQ(reason(), LF_BAD_TIME);
  EXPECT_FALSE(board.driven);
  arm(board.counter, 102);
  EXPECT_EQ(reason(), 0);
  EXPECT_TRUE(board.driven);
}

TEST_F(ChipEnd, ObeysNoFrameTwiceAndNoneOfAnotherSession) {
  start();
  arm(board.counter, 100);
  ASSERT_EQ(board.drives, 1);
  cp_command safe{};
  safe.kind = CP_MAKE_SAFE;
  cp_accept(&board.chip.core, &safe);
  arm(board.counter, 100);
  arm(board.counter, 99);
  EXPECT_EQ(board.drives, 1);
  EXPECT_EQ(board.chip.dropped, 2U);
  send(LF_COMMAND, 200, nullptr, 2);
  EXPECT_EQ(board.chip.strangers, 1U);
}

TEST_F(ChipEnd, RefusesWhatItDoesNotKnow) {
  start();
  send(9, 100, nullptr);
  EXPECT_EQ(reason(), LF_BAD_KIND);
  send(LF_HEARTBEAT, 101, nullptr, 1, 2);
  EXPECT_EQ(reason(), LF_BAD_VERSION);
  send(LF_COMMAND, 102, nullptr);
  EXPECT_EQ(reason(), LF_BAD_PAYLOAD);
}

// Channel 0 shows a current, and there is no channel 9.
TEST_F(ChipEnd, LetsNobodyTellAChannelThatItComputes) {
  start();
  for (const std::uint32_t channel : {0U, 9U}) {
    static std::uint32_t told;
    told = channel;
    send(LF_COMMAND, 100 + channel, [](lf_frame& f) {
      lf_walk w = lf_writing(f.payload, LF_PAYLOAD_MAX);
      cp_command c{};
      c.kind = CP_TELL;
      c.u.tell = {told, 5};
      lf_walk_command(&w, &c);
      return w;
    });
    EXPECT_EQ(reason(), LF_BAD_PAYLOAD) << channel;
  }
}

TEST_F(ChipEnd, RunsNothingWithoutParametersOrWithThoseThatLeaveTheirRanges) {
  send(LF_HELLO, 1, hello);
  arm(board.counter, 2);
  EXPECT_EQ(reason(), LF_NOTHING_RUNS);
  std::uint8_t block[LF_PARAMETER_BYTES] = {1, 2, 3};
  send_block(block);
  EXPECT_EQ(reason(), LF_BAD_PARAMETERS);
  EXPECT_EQ(board.chip.in_force, 0U);
}

// Seeded. Bytes, cut and turned frames, and whole frames of random payloads at both ends.
TEST_F(ChipEnd, AndLinuxStandWhateverComes) {
  std::mt19937 random(99);
  CapturedEdges captured(GateWires::six, 0.0);
  LinkSession session(board_settings(), captured);
  session.connected(1, begin_ns);
  start();
  std::int64_t now = begin_ns;
  for (int n = 0; n < 20'000; ++n) {
    lf_frame f{};
    f.version = random() % 50 == 0 ? 2 : 1;
    f.kind = static_cast<std::uint8_t>(random() % 9);
    f.session = static_cast<std::uint16_t>(random() % 20 == 0 ? random() % 3 : 1);
    f.sequence = static_cast<std::uint32_t>(1000 + n);
    f.clock = static_cast<std::uint32_t>(random());
    f.length = static_cast<std::uint32_t>(random() % (LF_PAYLOAD_MAX + 1));
    if (random() % 2 == 0)
      f.length = std::array<std::uint32_t, 8>{0, 8, 12, 20, 24, 28, 96, 232}[random() % 8];
    for (auto& byte : f.payload)
      byte = static_cast<std::uint8_t>(random() % 4 == 0 ? random() : 0U);
    std::uint8_t wire[LF_WIRE_MAX];
    std::uint32_t size = lf_encode(&f, wire);
    if (random() % 8 == 0) wire[random() % size] = static_cast<std::uint8_t>(random());
    if (random() % 8 == 0) size = static_cast<std::uint32_t>(random() % size);
    board.in.insert(board.in.end(), wire, wire + size);
    session.take({wire, size}, now += 10'000);
    for (int k = 0; k < 5; ++k) board.step_until(board.counter + Board::step_ticks);
    board.out.clear();
  }
  EXPECT_GT(board.chip.parser.bad_crc + board.chip.parser.bad_length, 100U);
  EXPECT_GT(board.chip.heard, 20'000U) << "frames came through";
}

}  // namespace
}  // namespace stillrotor::io
