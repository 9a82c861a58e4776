// Frames: what goes in comes out, wherever the bytes are cut, and nothing else does.
#include "io/link/frames/frame.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cstring>
#include <random>
#include <vector>

#include "io/link/frames/crc32.h"

namespace {

using Bytes = std::vector<std::uint8_t>;

/// Numbers of 32 bits.
struct Random {
  explicit Random(std::uint32_t seed) : engine(seed) {}
  std::uint32_t operator()() { return static_cast<std::uint32_t>(engine()); }
  std::mt19937 engine;
};

lf_frame made(std::uint32_t length, std::uint32_t seed) {
  Random random(seed);
  lf_frame f{};
  f.version = LF_VERSION;
  f.kind = static_cast<std::uint8_t>(random());
  f.session = static_cast<std::uint16_t>(random());
  f.sequence = random();
  f.clock = random();
  f.length = length;
  // Every other byte zero, half the time.
  for (std::uint32_t k = 0; k < length; ++k)
    f.payload[k] =
        seed % 2 != 0 && k % 2 != 0 ? std::uint8_t{0} : static_cast<std::uint8_t>(random());
  return f;
}

Bytes encoded(const lf_frame& f) {
  Bytes wire(LF_WIRE_MAX);
  wire.resize(lf_encode(&f, wire.data()));
  return wire;
}

std::vector<lf_frame> parsed(lf_parser& p, const Bytes& wire) {
  std::vector<lf_frame> out;
  lf_frame f;
  for (std::uint8_t byte : wire)
    if (lf_byte_in(&p, byte, &f) != 0) out.push_back(f);
  return out;
}

void turn_bit(Bytes& wire, std::size_t which) {
  std::uint8_t& byte = wire[which / 8 % wire.size()];
  byte = static_cast<std::uint8_t>(byte ^ 1U << which % 8);
}

void expect_same(const lf_frame& a, const lf_frame& b) {
  EXPECT_EQ(a.version, b.version);
  EXPECT_EQ(a.kind, b.kind);
  EXPECT_EQ(a.session, b.session);
  EXPECT_EQ(a.sequence, b.sequence);
  EXPECT_EQ(a.clock, b.clock);
  ASSERT_EQ(a.length, b.length);
  EXPECT_EQ(std::memcmp(a.payload, b.payload, a.length), 0);
}

// Source: the check value that goes with this CRC in every description of it; and Boost.CRC.
TEST(Crc32, IsThatOfIeee8023) {
  const Bytes nine{'1', '2', '3', '4', '5', '6', '7', '8', '9'};
  EXPECT_EQ(lf_crc32(nine.data(), 9), 0xCBF43926U);
  Random random(7);
  for (std::size_t n = 0; n < 300; ++n) {
    Bytes bytes(n);
    for (auto& b : bytes) b = static_cast<std::uint8_t>(random());
    boost::crc_32_type other;
    other.process_bytes(bytes.data(), n);
    EXPECT_EQ(lf_crc32(bytes.data(), static_cast<std::uint32_t>(n)), other.checksum()) << n;
  }
}

// By hand: version 1, kind 4, session 0x0201, sequence 3, clock 0x00050000, no payload. Stuffed by
// the rule: each code says how far it is to the next zero.
TEST(Frame, LooksOnTheWireAsTheDocumentHasIt) {
  lf_frame f{};
  f.version = 1;
  f.kind = LF_HEARTBEAT;
  f.session = 0x0201;
  f.sequence = 3;
  f.clock = 0x00050000;
  const Bytes wire = encoded(f);
  const Bytes plain{1, 4, 1, 2, 3, 0, 0, 0, 0, 0, 5, 0};
  boost::crc_32_type crc;
  crc.process_bytes(plain.data(), plain.size());
  ASSERT_EQ(crc.checksum(), 0x6265499CU) << "no zero among them, or the bytes below are others";
  EXPECT_THAT(
      wire, testing::ElementsAre(6, 1, 4, 1, 2, 3, 1, 1, 1, 1, 2, 5, 5, 0x9C, 0x49, 0x65, 0x62, 0));
}

TEST(Frame, ComesBackAtEveryLength) {
  lf_parser p{};
  for (std::uint32_t n = 0; n <= LF_PAYLOAD_MAX; ++n)
    for (std::uint32_t seed : {2 * n, 2 * n + 1}) {
      const lf_frame f = made(n, seed);
      const Bytes wire = encoded(f);
      EXPECT_LE(wire.size(), static_cast<std::size_t>(LF_WIRE_MAX));
      EXPECT_EQ(std::count(wire.begin(), wire.end(), 0), 1)
          << "zero ends it and stands nowhere else";
      const auto got = parsed(p, wire);
      ASSERT_EQ(got.size(), 1U) << n;
      expect_same(f, got[0]);
    }
  EXPECT_EQ(p.bad_length + p.bad_stuffing + p.bad_crc, 0U);
}

TEST(Frame, ComesBackWhereverTheBytesAreCut) {
  const lf_frame f = made(60, 3), g = made(61, 4);
  Bytes wire = encoded(f);
  const Bytes second = encoded(g);
  wire.insert(wire.end(), second.begin(), second.end());
  for (std::size_t cut = 0; cut <= wire.size(); ++cut) {
    lf_parser p{};
    const auto at = wire.begin() + static_cast<std::ptrdiff_t>(cut);
    auto got = parsed(p, Bytes(wire.begin(), at));
    const auto rest = parsed(p, Bytes(at, wire.end()));
    got.insert(got.end(), rest.begin(), rest.end());
    ASSERT_EQ(got.size(), 2U) << cut;
    expect_same(f, got[0]);
    expect_same(g, got[1]);
  }
}

TEST(Frame, IsFoundBehindHalfOfAnother) {
  const lf_frame f = made(60, 3), g = made(61, 4);
  const Bytes first = encoded(f), second = encoded(g);
  for (std::size_t from = 1; from < first.size(); ++from) {
    lf_parser p{};
    Bytes wire(first.begin() + static_cast<std::ptrdiff_t>(from), first.end());
    wire.insert(wire.end(), second.begin(), second.end());
    const auto got = parsed(p, wire);
    ASSERT_EQ(got.size(), 1U) << from;
    expect_same(g, got[0]);
    EXPECT_EQ(p.bad_length + p.bad_stuffing + p.bad_crc, from + 1 < first.size() ? 1U : 0U);
  }
}

// A CRC of 32 bits finds every single wrong bit, and a zero that appears or goes ends a frame
// elsewhere.
TEST(Frame, IsRefusedWithAnyBitTurned) {
  const Bytes good = encoded(made(40, 5));
  for (std::size_t bit = 0; bit < 8 * good.size(); ++bit) {
    Bytes wire = good;
    turn_bit(wire, bit);
    wire.push_back(0);
    lf_parser p{};
    EXPECT_EQ(parsed(p, wire).size(), 0U) << bit;
    EXPECT_GE(p.bad_length + p.bad_stuffing + p.bad_crc, 1U) << bit;
  }
}

TEST(Frame, OfTooManyBytesIsGivenUpAndTheNextOneFound) {
  lf_parser p{};
  Bytes wire(100'000, 0x55);
  wire.push_back(0);
  EXPECT_EQ(parsed(p, wire).size(), 0U);
  EXPECT_EQ(p.bad_length, 1U);
  EXPECT_EQ(parsed(p, encoded(made(236, 1))).size(), 1U);
}

TEST(Frame, UnderWayIsGivenUpWhereAConnectionEnds) {
  lf_parser p{};
  Bytes half = encoded(made(50, 1));
  half.resize(20);
  parsed(p, half);
  lf_cut(&p);
  EXPECT_EQ(p.bad_length, 1U);
  EXPECT_EQ(parsed(p, encoded(made(50, 2))).size(), 1U);
  lf_cut(&p);
  EXPECT_EQ(p.bad_length, 1U) << "nothing was under way";
}

// Fuzz, seeded: whatever comes, whole frames between it are found and no other is believed. With
// 2^-32 a piece, a wrong one among these is not to be expected; the addresses are watched by the
// sanitizer.
TEST(Frame, StandsOutInGarbage) {
  Random random(20'240);
  lf_parser p{};
  std::size_t sent = 0, found = 0;
  for (int n = 0; n < 20'000; ++n) {
    Bytes wire;
    const std::uint32_t what = random() % 4;
    const lf_frame f = made(random() % (LF_PAYLOAD_MAX + 1), random());
    if (what == 0) {  // noise, zeros among it
      wire.resize(random() % 600);
      for (auto& b : wire) b = static_cast<std::uint8_t>(random() % 5 == 0 ? 0U : random());
    } else {
      wire = encoded(f);
      if (what == 1) wire.resize(random() % wire.size());  // cut
      if (what == 2) turn_bit(wire, random());
    }
    if (what != 3) {
      EXPECT_EQ(parsed(p, wire).size(), 0U);
      continue;
    }
    parsed(p, {0});
    const auto got = parsed(p, wire);
    ++sent;
    found += got.size();
    ASSERT_EQ(got.size(), 1U) << n;
    expect_same(f, got[0]);
  }
  EXPECT_EQ(sent, found);
  EXPECT_GT(p.bad_length, 100U);
  EXPECT_GT(p.bad_stuffing, 100U);
  EXPECT_GT(p.bad_crc, 100U);
}

}  // namespace
