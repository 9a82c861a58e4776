// A run that is stopped from outside keeps what it recorded and claims no verdict.
#include <arpa/inet.h>
#include <sys/socket.h>

#include <chrono>
#include <nlohmann/json.hpp>
#include <thread>

#include "emulator/record/firmware_signals.hpp"
#include "emulator/record/record_reader.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using namespace std::chrono_literals;

class InterruptedRun : public ProgramTest {
 protected:
  /// At the real thing's pace for `wall`, counted from the first thing recorded; then the signal.
  Answer stop_after(std::chrono::milliseconds wall, int signal) {
    return call({"run", bench(), scenario("60 s"), "--out", "kept", "--pace", "wall"},
                [=, this](pid_t child) {
                  for (int k = 0; k < 1000 && !fs::exists(path("kept/record.h5")); ++k)
                    std::this_thread::sleep_for(10ms);
                  std::this_thread::sleep_for(wall);
                  kill(child, signal);
                });
  }
  void expect_record_of_at_least(double seconds) {
    const RecordReader record(path("kept"));
    EXPECT_FALSE(record.finished());
    EXPECT_GE(record.end_s(), seconds);
    EXPECT_GE(static_cast<double>(record.frames()), seconds * 20e3);
    EXPECT_GT(record.edges(0).size(), 10U);  // gate UH has been switching
    EXPECT_FALSE(fs::exists(path("kept/result.json")));
  }
};

TEST_F(InterruptedRun, BySigintEndsWithStatus130) {
  const Answer answer = stop_after(700ms, SIGINT);
  EXPECT_EQ(answer.status, 130) << answer.err;
  expect_record_of_at_least(0.4);
  const auto run = nlohmann::json::parse(read_text(path("kept/run.json")));
  EXPECT_EQ(run["interrupted"], true);
  EXPECT_NE(answer.err.find("no verdict"), std::string::npos);
}

TEST_F(InterruptedRun, BySigtermEndsWithStatus143) {
  EXPECT_EQ(stop_after(700ms, SIGTERM).status, 143);
  expect_record_of_at_least(0.4);
}

// Nothing can be done then: what was written within the last second of wall time may be lost.
TEST_F(InterruptedRun, BySigkillLosesAtMostASecond) {
  EXPECT_EQ(stop_after(2500ms, SIGKILL).status, 128 + SIGKILL);
  expect_record_of_at_least(1.4);
}

// A debugger at firmware on a simulated processor, by the protocol's own bytes.
class DebuggedRun : public ProgramTest {
 protected:
  static constexpr const char* m4 =
      STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid-m4.yaml";
  void SetUp() override {
    if (!fs::exists(STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf"))
      GTEST_SKIP() << "arm-none-eabi-gcc is not installed";
  }
  /// Says these packets, each after an answer to the one before.
  Answer debug(const char* out, const std::vector<std::string>& packets) {
    return call({"run", m4, scenario("60 ms"), "--out", out, "--gdb", "0"}, [&](pid_t) {
      const int line = connected();
      for (const std::string& packet : packets) {
        EXPECT_EQ(send(line, packet.data(), packet.size(), MSG_NOSIGNAL),
                  static_cast<ssize_t>(packet.size()));
        char last = 0;
        for (char byte = 0, hashes = 0; hashes == 0 || last == 0;) {
          if (recv(line, &byte, 1, 0) != 1) break;
          if (hashes != 0) last = byte;
          if (byte == '#') hashes = 1;
        }
      }
      close(line);
    });
  }

 private:
  /// As soon as the program has said its port.
  int connected() {
    constexpr std::string_view before = "127.0.0.1:";
    for (int k = 0; k < 3000; ++k) {
      const std::string said = read_text(path("stderr.txt"));
      const std::size_t at = said.find(before);
      if (at != std::string::npos && said.find('\n', at) != std::string::npos) {
        sockaddr_in to{};
        to.sin_family = AF_INET;
        to.sin_port = htons(static_cast<std::uint16_t>(std::stoi(said.substr(at + before.size()))));
        to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        const int line = socket(AF_INET, SOCK_STREAM, 0);
        EXPECT_EQ(connect(line, reinterpret_cast<sockaddr*>(&to), sizeof to), 0);
        return line;
      }
      std::this_thread::sleep_for(10ms);
    }
    ADD_FAILURE() << "no port was told";
    return -1;
  }
};

TEST_F(DebuggedRun, IsTheSameRun) {
  // Watched variables change it as little.
  ASSERT_EQ(call({"run", m4, scenario("60 ms"), "--out", "alone", "--set",
                  "controller.watch={wish: torque_A float, offset: offset_V+4 float, integral: "
                  "integral.q}"})
                .status,
            0);
  const auto watched = firmware_signals(path("alone"));
  ASSERT_EQ(watched.size(), 3U);  // by name
  EXPECT_EQ(watched[0].values.size(), RecordReader(path("alone")).frames());
  EXPECT_EQ(watched[0].values.front(), 0.0F);
  EXPECT_NE(watched[0].values.back(), 0.0F);           // of the current loop
  EXPECT_NEAR(watched[1].values.back(), 2.5F, 0.05F);  // measured at the start: of V's sensor
  EXPECT_EQ(watched[2].values.front(), 0.0F);
  EXPECT_GT(watched[2].values.back(), 1.0F);  // the throttle is open by then
  EXPECT_NE(read_text(path("alone/report.html")).find("Firmware: wish"), std::string::npos);
  const Answer answer = debug("debugged", {"$vCont;s#b8", "$vCont;s#b8", "$g#67", "$D#44"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const auto hash = [&](const char* run) {
    return nlohmann::json::parse(read_text(path(std::string(run) + "/result.json")))
        .at("signals_xxh128");
  };
  EXPECT_EQ(hash("debugged"), hash("alone"));
}

TEST_F(DebuggedRun, IsEndedByADebuggerThatKills) {
  EXPECT_EQ(debug("killed", {"$vCont;s#b8", "$k#6b"}).status, 130);
  EXPECT_FALSE(RecordReader(path("killed")).finished());
  EXPECT_FALSE(fs::exists(path("killed/result.json")));
}

TEST_F(DebuggedRun, WatchesWhatTheFirmwareHas) {
  const std::pair<const char*, const char*> cases[] = {
      {"{a: torque_B float}", "Did you mean torque_A?"},
      {"{a: torque_A+2 float}", "torque_A has 4 bytes"},
      {"{a: periods uint32}", "several variables periods"},
      {"{a: torque_A flaot}", "its type is not known"},
      {"{a: torque_A double}", "torque_A is float by the firmware's debug information, and double"},
      {"{a: torque_A+x float}", "no number of bytes"},
      {"{a: float}", "it names no variable"},
      {"{a: +4 float}", "it names no variable"},
      {"{a/b: torque_A float}", "a name is due"},
      {"{a: torque_A float, a: torque_A float}", "given twice"},
  };
  for (const auto& [watch, text] : cases) {
    const Answer answer = call({"run", m4, scenario("60 ms"), "--out", "refused", "--set",
                                std::string("controller.watch=") + watch});
    EXPECT_EQ(answer.status, 2) << watch;
    EXPECT_NE(answer.err.find(text), std::string::npos) << answer.err;
    EXPECT_FALSE(fs::exists(path("refused"))) << watch;
  }
}

TEST_F(DebuggedRun, IsRefusedWhereNobodyCouldConnect) {
  for (const char* port : {"80", "0.0.0.0:3333", "70000", "-1", "x"}) {
    const Answer answer = call({"run", m4, scenario("60 ms"), "--gdb", port});
    EXPECT_EQ(answer.status, 2) << port;
    EXPECT_NE(answer.err.find("--gdb is"), std::string::npos) << answer.err;
  }
  const Answer answer = call({"run", bench(), scenario("60 ms"), "--gdb", "0"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_NE(answer.err.find("allowed with --gdb"), std::string::npos) << answer.err;
}

}  // namespace
}  // namespace stillrotor::test
