// The wire of a chip that is a program: whole frames there and back over every kind of address.
#include "io/link/port/chip_wire.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "io/capture_thread.hpp"
#include "io/connector.hpp"
#include "io/link/stream.hpp"
#include "tests/io/link/port/driven_chip.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t patience_ns = 30'000'000'000;

/// A port of this computer that was free a moment ago.
std::string free_port(int type) {
  const int fd = socket(AF_INET, type | SOCK_CLOEXEC, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof at;
  EXPECT_EQ(bind(fd, reinterpret_cast<sockaddr*>(&at), size), 0);
  getsockname(fd, reinterpret_cast<sockaddr*>(&at), &size);
  close(fd);
  return std::to_string(ntohs(at.sin_port));
}

class ChipWireTest : public testing::Test {
 protected:
  ChipWireTest() {
    std::string pattern = (std::filesystem::temp_directory_path() / "chip-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no folder for the test");
    folder_ = pattern;
  }
  ~ChipWireTest() override { std::filesystem::remove_all(folder_); }

  /// Chip and Linux' end by the wall clock until the link runs.
  static bool runs_over(const std::string& address) {
    const auto controller = make_field_oriented(DrivenChip::controller_settings());
    SimulatedChip chip(*controller, DrivenChip::chip_settings());
    const auto wire = listen_at(parse_link_address(address));
    LinkSettings settings = DrivenChip::link_settings();
    settings.silent_ns = patience_ns;  // a busy computer is no broken wire
    const auto captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
    const auto session = std::make_unique<LinkSession>(settings, *captured);
    LinkStream stream(parse_link_address(address), *session);
    stream.start({});
    const std::int64_t begun = monotonic_ns();
    std::vector<std::uint8_t> bytes;
    LinkReport report;
    while (!session->status().running && monotonic_ns() - begun < patience_ns) {
      wire->wait(1);
      bytes.clear();
      if (wire->receive(bytes)) chip.cut();
      chip.advance(Time(1000 * (monotonic_ns() - begun)));
      chip.hear(bytes);
      wire->send(chip.take_sent());
      while (session->next_report(report)) {
      }
    }
    return session->status().running;
  }
  std::string path(const char* name) const { return (folder_ / name).string(); }

  std::filesystem::path folder_;
};

TEST_F(ChipWireTest, CarriesTheLinkOverAUnixSocket) {
  EXPECT_TRUE(runs_over("unix:" + path("chip")));
  EXPECT_FALSE(std::filesystem::exists(path("chip"))) << "taken away at the end";
}
TEST_F(ChipWireTest, CarriesTheLinkOverUdp) {
  EXPECT_TRUE(runs_over("udp:127.0.0.1:" + free_port(SOCK_DGRAM)));
}
TEST_F(ChipWireTest, CarriesTheLinkOverTcp) {
  EXPECT_TRUE(runs_over("tcp:127.0.0.1:" + free_port(SOCK_STREAM)));
}

TEST_F(ChipWireTest, CarriesBytesOverASerialDevice) {
  const int other = posix_openpt(O_RDWR | O_NOCTTY);
  ASSERT_GE(other, 0);
  ASSERT_EQ(grantpt(other), 0);
  ASSERT_EQ(unlockpt(other), 0);
  const auto wire = listen_at(parse_link_address(std::string("serial:") + ptsname(other)));
  const std::uint8_t there[] = {3, 13, 10, 0}, back[] = {4, 17, 19, 0};  // no terminal's business
  ASSERT_EQ(write(other, there, sizeof there), static_cast<ssize_t>(sizeof there));
  std::vector<std::uint8_t> bytes;
  for (int n = 0; n < 3000 && bytes.size() < sizeof there; ++n) {
    wire->wait(10);
    wire->receive(bytes);
  }
  EXPECT_THAT(bytes, testing::ElementsAreArray(there));
  wire->send(back);
  std::uint8_t got[sizeof back] = {};
  ASSERT_EQ(read(other, got, sizeof got), static_cast<ssize_t>(sizeof got));
  EXPECT_THAT(got, testing::ElementsAreArray(back));
  close(other);
}

TEST_F(ChipWireTest, TakesOverASocketThatNobodyListensAt) {
  const auto file = path("left");
  { std::ofstream(file) << "a file"; }
  EXPECT_THROW(listen_at(parse_link_address("unix:" + file)), ConfigError) << "no socket";
  std::filesystem::remove(file);
  const auto first = listen_at(parse_link_address("unix:" + file));
  EXPECT_THROW(listen_at(parse_link_address("unix:" + file)), ConfigError) << "somebody is there";
  // As a program leaves it that was killed.
  const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_storage at{};
  const auto stale = path("stale");
  at.ss_family = AF_UNIX;
  stale.copy(reinterpret_cast<char*>(&at) + sizeof(sa_family_t), stale.size());
  ASSERT_EQ(bind(fd, reinterpret_cast<sockaddr*>(&at),
                 static_cast<socklen_t>(sizeof(sa_family_t) + stale.size() + 1)),
            0);
  close(fd);
  EXPECT_NO_THROW(listen_at(parse_link_address("unix:" + stale)));
}

TEST_F(ChipWireTest, RefusesWhereItCannotListen) {
  EXPECT_THROW(listen_at(parse_link_address("unix:/nowhere/at/all")), ConfigError);
  EXPECT_THROW(listen_at(parse_link_address("serial:/nowhere")), ConfigError);
  EXPECT_THROW(listen_at(parse_link_address("udp:203.0.113.7:4500")), ConfigError);
}

}  // namespace
}  // namespace stillrotor::io
