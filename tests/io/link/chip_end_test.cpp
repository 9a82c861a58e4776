// The chip's end of the link by itself: what it obeys, what it refuses, and that it stands whatever
// comes.
#include "io/link/frames/chip_end.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "io/link/frames/crc32.h"
#include "tests/io/link/support/board.hpp"

namespace stillrotor::io {
namespace {

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
  session.connected(1, 7'000'000'000'000);
  start();
  std::int64_t now = 7'000'000'000'000;
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
