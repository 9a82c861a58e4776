// Over real pseudo-terminals and sockets. By count: how long it takes is the computer's affair.
#include "io/link/stream.hpp"

#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <memory>
#include <thread>

#include "tests/io/link/support/end_to_end.hpp"

namespace stillrotor::io {
namespace {

std::string kind_name(const testing::TestParamInfo<FarEnd::Kind>& kind) {
  const std::array<const char*, 4> of{"serial", "udp", "tcp", "unix"};
  return of[static_cast<std::size_t>(kind.param)];
}
class Wire : public testing::TestWithParam<FarEnd::Kind> {};
INSTANTIATE_TEST_SUITE_P(Over, Wire,
                         testing::Values(FarEnd::Kind::serial, FarEnd::Kind::udp, FarEnd::Kind::tcp,
                                         FarEnd::Kind::unix_socket),
                         kind_name);

TEST_P(Wire, HandsOverASecondOfEdgesWithoutLoss) {
  constexpr std::uint64_t count = 240'000;
  const Arrived got = send_over(GetParam(), count);
  ASSERT_TRUE(got.ran);
  EXPECT_EQ(got.edges, count);
  for (const std::uint64_t of_one : got.of_gate) EXPECT_EQ(of_one, count / 6);
  EXPECT_EQ(got.gaps, 0U);
  EXPECT_EQ(got.status.edges, count);
  EXPECT_EQ(got.status.lost_edges + got.status.missed_frames + got.status.spoilt_frames, 0U);
}

TEST_P(Wire, FallsSafeWhenPulledAndComesBackByItself) {
  FarEnd far(GetParam());
  auto captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  LinkSettings settings = board_settings();
  settings.silent_ns = 200'000'000;
  auto session = std::make_unique<LinkSession>(settings, *captured);
  LinkStream stream(parse_link_address(far.address()), *session);
  stream.start({});
  // A cycle that goes on sending ahead until something is so, 30 s at most.
  const auto until = [&](auto so) {
    const std::int64_t begun = monotonic_ns();
    while (!so()) {
      if (monotonic_ns() - begun > 30'000'000'000) return false;
      Ahead a;
      a.at_ns = monotonic_ns() + 3'000'000;
      a.source_V = 72.0;
      session->ahead(a);
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return true;
  };
  ASSERT_TRUE(until([&] { return session->status().running; })) << stream.last_error();
  // Told again: on a busy computer the link may seem broken meanwhile, and forgets the order.
  ASSERT_TRUE(until([&] {
    session->want_live();
    return far.driven();
  }));
  far.unplug(true);
  EXPECT_TRUE(until([&] { return !far.driven() && !session->status().linked; }));
  far.unplug(false);
  EXPECT_TRUE(until([&] { return session->status().running; })) << stream.last_error();
  EXPECT_FALSE(far.driven());
}

TEST(LinkStream, GoesOnTryingWhereNobodyIsAndSaysWhy) {
  auto captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  auto session = std::make_unique<LinkSession>(board_settings(), *captured);
  LinkStream stream(parse_link_address("unix:/nowhere/chip"), *session);
  stream.start({});
  for (int k = 0; k < 30'000 && stream.last_error().empty(); ++k)
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  EXPECT_EQ(stream.last_error(), "No such file or directory");
  EXPECT_FALSE(session->status().linked);
  stream.stop();
  stream.stop();
}

TEST(LinkAddress, IsReadInAllItsKinds) {
  using Kind = LinkAddress::Kind;
  EXPECT_EQ(parse_link_address("serial:/dev/ttyACM0"),
            (LinkAddress{Kind::serial, "/dev/ttyACM0", 0, 115'200}));
  EXPECT_EQ(parse_link_address("serial:/dev/ttyS1@921600"),
            (LinkAddress{Kind::serial, "/dev/ttyS1", 0, 921'600}));
  EXPECT_EQ(parse_link_address("udp:192.168.7.2:4500"),
            (LinkAddress{Kind::udp, "192.168.7.2", 4500, 115'200}));
  EXPECT_EQ(parse_link_address("tcp:[fe80::1]:4500"),
            (LinkAddress{Kind::tcp, "fe80::1", 4500, 115'200}));
  EXPECT_EQ(parse_link_address("unix:/run/chip.sock"),
            (LinkAddress{Kind::unix_socket, "/run/chip.sock", 0, 115'200}));
}

TEST(LinkAddress, IsRefusedWithWhatIsAllowed) {
  for (const char* text :
       {"", "serial", "serial:", "serial:ttyS0", "serial:/dev/ttyS0@fast", "serial:/dev/ttyS0@0",
        "serial:/dev/ttyS0@99999999", "udp:", "udp:192.168.7.2", "udp:192.168.7.2:0",
        "udp:192.168.7.2:65536", "udp:some.name:4500", "udp:192.168.7:4500", "tcp::4500",
        "unix:chip", "usb:/dev/x"}) {
    try {
      parse_link_address(text);
      ADD_FAILURE() << text;
    } catch (const ConfigError& error) {
      EXPECT_EQ(error.path, "controller.link.address");
      EXPECT_NE(std::string(error.what()).find("Allowed: serial:"), std::string::npos);
    }
  }
}

}  // namespace
}  // namespace stillrotor::io
