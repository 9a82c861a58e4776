// A debugger at a chip that runs: over a socket, as one connects, well-behaved and not.
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmath>
#include <functional>
#include <random>
#include <thread>

#include "io/mcu/cortexm/debug_view.hpp"
#include "io/mcu/debugger/packets.hpp"
#include "io/mcu/watch.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace std::chrono_literals;

/// Counts up in R0 and at 0x20000000, from 0x08000204 on, five cycles a round.
Program counting() {
  Program program;
  program.flash.assign(0x400, 0);
  const Word vectors[] = {0x20000400, 0x08000201};
  std::memcpy(program.flash.data(), vectors, sizeof vectors);
  const std::uint16_t code[] = {0x4902, 0x2000, 0x3001, 0x6008, 0xe7fc, 0xbf00, 0x0000, 0x2000};
  std::memcpy(program.flash.data() + 0x200, code, sizeof code);
  return program;
}

/// The other end of the line: raw bytes.
class Wire {
 public:
  explicit Wire(std::uint16_t port) : socket_(socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(port);
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    connected_ = connect(socket_, reinterpret_cast<sockaddr*>(&to), sizeof to) == 0;
  }
  ~Wire() { close(socket_); }
  Wire(const Wire&) = delete;
  Wire& operator=(const Wire&) = delete;
  bool connected() const { return connected_; }
  void say(const std::string& bytes) {
    (void)!::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  }
  /// The next packet's payload, without receipts; "gone": the other side has closed.
  std::string hear() {
    std::string packet;
    for (char byte = 0; recv(socket_, &byte, 1, 0) == 1;) {
      if (packet.empty() && byte == '+') continue;
      packet += byte;
      if (packet == "-") return packet;
      if (packet.size() > 3 && packet[packet.size() - 3] == '#')
        return packet.substr(1, packet.size() - 4);
    }
    return "gone";
  }
  std::string ask(const std::string& payload) {
    say(mcu::framed(payload));
    return hear();
  }

 private:
  int socket_;
  bool connected_ = false;
};

struct Outcome {
  Time now;
  Word r0, stored;
  bool operator==(const Outcome&) const = default;
};
/// 2 ms of the program, with that going on at the other end.
Outcome run_with(const std::function<void(Wire&)>& at_the_other_end) {
  ChipOutside nobody;
  Chip chip(*find_chip("stm32f405"), counting(), 8'000'000, nobody);
  std::optional<mcu::Debugger> debugger;
  std::optional<DebugView> view;
  std::thread other;
  if (at_the_other_end) {
    debugger.emplace(std::uint16_t{0});
    view.emplace(chip, *debugger);
    other = std::thread([&, port = debugger->port()] {
      Wire wire(port);
      EXPECT_TRUE(wire.connected());
      if (wire.connected()) at_the_other_end(wire);
    });
  }
  chip.run(2ms);
  if (other.joinable()) other.join();
  Word stored = 0;
  std::memcpy(&stored, chip.core().bus().memory(0x20000000), 4);
  return {chip.now(), chip.core().cpu().r[0], stored};
}

TEST(CortexDebugger, AnswersAndLeavesTheRunAsItWas) {
  struct Case {
    const char *ask, *answer;  // an answer that ends in ... is a beginning
  };
  constexpr Case cases[] = {
      {"qSupported:swbreak+", "PacketSize=..."},
      {"qXfer:features:read:target.xml:0,64", "m<?xml..."},
      {"qXfer:features:read:other.xml:0,64", "E00"},
      {"qXfer:features:read:target.xml:ffffff,64", "l"},
      {"qXfer:memory-map:read::0,ffff", "l<?xml..."},
      {"?", "T05thread:1;"},
      {"p0", "00000000"},
      {"pf", "00020008"},          // 0x08000200
      {"pd", "00040020"},          // SP
      {"m8000200,4", "02490020"},  // LDR, MOVS
      {"Z1,8000206,2", "OK"},      // the store
      {"vCont;c", "T05thread:1;"},
      {"pf", "06020008"},
      {"p0", "01000000"},
      {"m20000000,4", "00000000"},
      {"vCont;s:1;c", "T05thread:1;"},
      {"m20000000,4", "01000000"},
      {"z1,8000206,2", "OK"},
      {"Z2,20000000,4", "OK"},
      {"c", "T05watch:20000000;thread:1;"},
      {"m20000000,4", "02000000"},
      {"z2,20000000,4", "OK"},
      {"Z3,20000000,4", ""},  // reads cannot be watched
      {"P0=00000001", "OK"},  // R0 = 0x01000000
      {"p0", "00000001"},
      {"P0=02000000", "OK"},  // and back
      {"M20000010,3:a1b2c3", "OK"},
      {"m2000000f,5", "00a1b2c300"},
      {"X20000011,2:}", "E16"},
      {"M8000200,2:0000", "E0e"},           // flash
      {"m60000000,4", "E0e"},               // nothing there
      {"m2001fffe,8", "0000"},              // as far as there is memory
      {"me000ed00,4", "41c20f41"},          // CPUID, a register
      {"qRcmd,7768657265", "302e3030..."},  // where: 0.00
      {"qfThreadInfo", "m1"},
      // What is no such request.
      {"m20000000", "E16"},
      {"m20000000,100000000", "E16"},
      {"mffffffff,2", "E16"},
      {"mzz,4", "E16"},
      {"p99", "E16"},
      {"P0=01", "E16"},
      {"Pzz=00000000", "E16"},
      {"G00", "E16"},
      {"Z0,zz,2", "E16"},
      {"Z2,20000000,ffff", "E1c"},
      {"Z2,8000000,4", "E0e"},
      {"vCont;x", "E16"},
      {"qRcmd,7", "E16"},
      {"qRcmd,3f", "54686572..."},  // "There is no ..."
      {"qXfer:features:read:target.xml:zz", "E16"},
      {"wonder", ""},
      {"", ""},
      {"QStartNoAckMode", "OK"},
      {"D", "OK"},
  };
  const Outcome alone = run_with({});
  const Outcome seen = run_with([&](Wire& wire) {
    for (const auto& [ask, answer] : cases) {
      std::string said = wire.ask(ask), expected = answer;
      if (expected.ends_with("...")) {
        expected.resize(expected.size() - 3);
        said.resize(std::min(said.size(), expected.size()));
      }
      EXPECT_EQ(said, expected) << ask;
    }
    EXPECT_EQ(wire.hear(), "gone");
  });
  EXPECT_EQ(seen, alone);
  EXPECT_GT(alone.r0, 1000u);
}

TEST(CortexDebugger, ResetsAndWritesAllRegisters) {
  run_with([](Wire& wire) {
    EXPECT_EQ(wire.ask("Z0,8000208,2"), "OK");
    EXPECT_EQ(wire.ask("c"), "T05thread:1;");
    std::string all = wire.ask("g");
    ASSERT_EQ(all.size(), 2u * (17 * 4 + 16 * 8 + 7 * 4));
    all.replace(8 * 3, 8, "78563412");
    EXPECT_EQ(wire.ask("G" + all), "OK");
    EXPECT_EQ(wire.ask("p3"), "78563412");
    EXPECT_EQ(wire.ask("qRcmd,7265736574").substr(0, 8), "54686520");  // "The ..."
    EXPECT_EQ(wire.ask("pf"), "00020008");
    EXPECT_EQ(wire.ask("p3"), "00000000");
    // A halt in the middle, without a breakpoint.
    EXPECT_EQ(wire.ask("z0,8000208,2"), "OK");
    EXPECT_EQ(wire.ask("P0=00000000"), "OK");
    EXPECT_EQ(wire.ask("D"), "OK");
  });
}

TEST(CortexDebugger, WhoMisbehavesIsDroppedAndTheRunGoesOn) {
  const std::string cases[] = {
      "GET / HTTP/1.1\r\n\r\n",
      std::string(64, '\0'),
      "$" + std::string(20'000, 'a'),
      std::string(9, '-'),
      "$m20000000,4#",  // leaves in the middle
      "$Z0,8000206,2#",
      "",
  };
  const Outcome alone = run_with({});
  for (const std::string& bytes : cases) {
    const Outcome seen = run_with([&](Wire& wire) {
      EXPECT_EQ(wire.ask("?"), "T05thread:1;");
      wire.say(bytes);
    });
    EXPECT_EQ(seen, alone) << bytes.substr(0, 20);
  }
  // A damaged packet is asked for again.
  run_with([&](Wire& wire) {
    wire.say("$?#00");
    EXPECT_EQ(wire.hear(), "-");
    EXPECT_EQ(wire.ask("?"), "T05thread:1;");
    wire.say("-");
    EXPECT_EQ(wire.hear(), "T05thread:1;");
  });
}

/// Bytes of anybody, and packets that look nearly right.
TEST(CortexDebugger, AnyBytesAreSurvived) {
  std::mt19937 dice(3);
  constexpr const char* starts[] = {"m2000",  "M2000",   "X2000",
                                    "G",      "P",       "p",
                                    "Z0,",    "Z2,2000", "qXfer:features:read:target.xml:",
                                    "qRcmd,", "vCont;",  "q",
                                    "z2,"};
  constexpr std::string_view letters = "0123456789abcdef,:;=#$}*+-\x03\xff";
  run_with([&](Wire& wire) {
    wire.ask("QStartNoAckMode");
    for (int i = 0; i < 3000; ++i) {
      std::string payload = starts[dice() % std::size(starts)];
      for (auto n = dice() % 24; n > 0; --n) payload += letters[dice() % letters.size()];
      if (payload.starts_with("vCont;c")) continue;
      EXPECT_NE(wire.ask(payload), "gone") << payload;
    }
  });
  mcu::PacketReader reader;
  for (int i = 0; i < 100'000; ++i) {
    const char byte = dice() % 3 ? letters[dice() % letters.size()] : static_cast<char>(dice());
    if (!reader.add({&byte, 1})) reader.forget();
    reader.next();
  }
}

/// Moments by hand: (k + 1) / 3 kHz in whole picoseconds, rounded.
TEST(WatchedValues, AreOnTheRecordsGridInTheirTypes) {
  using mcu::VariableType;
  const std::uint8_t bytes[] = {0xfe, 0xff, 0xff, 0xff, 0x00, 0x00, 0xc0, 0xbf};  // -2; -1.5
  mcu::WatchedValues watched({{0, VariableType::int8},
                              {0, VariableType::uint8},
                              {0, VariableType::int16},
                              {0, VariableType::uint16},
                              {0, VariableType::int32},
                              {0, VariableType::uint32},
                              {4, VariableType::float32},
                              {9, VariableType::int8}},
                             3e3);
  EXPECT_EQ(watched.next(), Time(333'333'333));
  watched.skip_to(Time(333'333'333));  // that moment itself can still be read
  watched.take(
      [&](const mcu::WatchedPlace& p) { return p.address < 8 ? bytes + p.address : nullptr; });
  EXPECT_EQ(watched.next(), Time(666'666'667));
  watched.skip_to(1ms);
  EXPECT_EQ(watched.next(), Time(1'000'000'000));
  const float expected[] = {-2.0F, 254.0F, -2.0F, 65534.0F, -2.0F, 4294967294.0F, -1.5F};
  for (std::size_t k = 0; k < std::size(expected); ++k) {
    ASSERT_EQ(watched.values()[k].size(), 2U);
    EXPECT_EQ(watched.values()[k][0], expected[k]) << k;
    EXPECT_TRUE(std::isnan(watched.values()[k][1]));
  }
  EXPECT_TRUE(std::isnan(watched.values().back()[0]));
}

}  // namespace
}  // namespace stillrotor::io::cortexm
