// A built-in controller held against the real-time cycle. What comes out of it depends on how busy
// this computer is; these tests only ask for what does not.
#include <gmock/gmock.h>
#include <sys/resource.h>

#include <nlohmann/json.hpp>
#include <regex>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::AnyOf;
using testing::HasSubstr;

class WallClock : public ProgramTest {};

void without_rights() {
  const rlimit none{0, 0}, little{64 << 10, 64 << 10};
  setrlimit(RLIMIT_RTPRIO, &none);
  setrlimit(RLIMIT_MEMLOCK, &little);
  if (geteuid() == 0 && setuid(65'534) != 0) _exit(97);
}

TEST_F(WallClock, WithoutRightsIsRefusedWithTheRemedyAndLeavesNoFolder) {
  fs::permissions(path(""), fs::perms::all);
  const Answer answer = call({"run", bench(), scenario("1 s"), "--clock", "wall", "--out", "kept"},
                             {}, without_rights);
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.err, HasSubstr("rtprio"));
  EXPECT_THAT(answer.err, HasSubstr("memlock"));
  EXPECT_THAT(answer.err, HasSubstr("--allow-soft"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(WallClock, AllowedSoftRunsAndSaysSoInTheRecordAndInRunJson) {
  fs::permissions(path(""), fs::perms::all);
  const std::string drive_off = scenario("300 ms");
  const Answer answer = call({"run", bench(), drive_off, "--clock", "wall", "--out", "kept",
                              "--allow-soft", "--set", "cycle.period=20 ms"},
                             {}, without_rights);
  EXPECT_THAT(answer.status, AnyOf(0, 4)) << answer.err;  // 4: this computer let it fall behind
  EXPECT_THAT(answer.err, HasSubstr("soft real time"));
  const auto run = nlohmann::json::parse(read_text(path("kept/run.json")));
  EXPECT_EQ(run["cycle"]["soft"], true);
  EXPECT_EQ(run["cycle"]["missing_rights"].size(), 2U);
  EXPECT_EQ(run["cycle"]["period_us"], 20000.0);
  EXPECT_EQ(run["cycle"]["gates"]["averaged"], false);
  EXPECT_EQ(run["cycle"]["gates"]["overlaps_repaired"], 0);
  EXPECT_TRUE(run["cycle"]["gates"]["legs"]["U"].contains("pulses"));
  if (answer.status != 0) return;
  EXPECT_EQ(run["cycle"]["turns"].get<int>() + run["cycle"]["missed_periods"].get<int>(), 16);
  const auto result = nlohmann::json::parse(read_text(path("kept/result.json")));
  EXPECT_EQ(result["clock"], "wall");
}

TEST_F(WallClock, BySigintEndsSafeWithStatus130AndNoVerdict) {
  const Answer answer =
      call({"run", bench(), scenario("60 s"), "--clock", "wall", "--out", "kept", "--allow-soft",
            "--set", "cycle.period=100 ms"},
           [this](pid_t child) {
             while (!fs::exists(path("kept/record.h5")) ||
                    read_text(path("kept/log.txt")).find("key on") == std::string::npos)
               usleep(10'000);
             kill(child, SIGINT);
           });
  EXPECT_EQ(answer.status, 130) << answer.err;
  EXPECT_THAT(answer.err, HasSubstr("no verdict"));
  const auto run = nlohmann::json::parse(read_text(path("kept/run.json")));
  EXPECT_EQ(run["interrupted"], true);
  EXPECT_EQ(run["cycle"]["ended"], "it was asked to stop");
  EXPECT_FALSE(fs::exists(path("kept/result.json")));
}

TEST_F(WallClock, IsNotForOtherSimulatedControllersNorBesideAPace) {
  const std::string mcu = STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub.yaml";
  const Answer answer = call({"run", mcu, scenario("1 s"), "--clock", "wall"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("controller.backend"));
  EXPECT_EQ(call({"run", bench(), scenario("1 s"), "--clock", "wall", "--pace", "wall"}).status, 2);
}

// Where there is no chip the wires are refused, with a way out, and outputs were never touched.
TEST_F(WallClock, OnWiresThatAreNotThereIsRefused) {
  if (fs::exists("/dev/gpiochip0")) GTEST_SKIP() << "this computer has a GPIO chip; not touched";
  const std::string wired = STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-wired.yaml";
  EXPECT_EQ(call({"check", wired}).status, 0);
  write_text(path("key.yaml"), "scenario: Key\nlasts: 1 s\ntimeline:\n  - {at: 0.1 s, key: on}\n");
  const Answer answer = call({"run", wired, path("key.yaml").string(), "--allow-soft", "--set",
                              "cycle.core=0", "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("harness.lines.gates.UH.chip is gpiochip0; there is no such"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

/// Registers in a file of the test's own: bit 8 shows the stop circuit, bit 9 that the bus is dead.
class BeforeArming : public WallClock {
 protected:
  Answer run_with(char stop_and_dead) {
    const std::string text = read_text(bench());
    const auto part = [&text](const std::string& key) {
      const std::size_t from = text.find("\n" + key + ":") + 1, to = text.find("\n", from);
      return std::regex_replace(text.substr(from, to - from + 1), std::regex("\\.\\./"),
                                STILLROTOR_SOURCE_DIR "/configs/");
    };
    write_text(path("registers"), std::string(1, '\0') + stop_and_dead + std::string(4094, '\0'));
    write_text(path("polled.yaml"), "bench: Polled\n" + part("machine") + part("bridge") +
                                        part("supply") + part("dc_link") + part("load") + R"(
sensors: {hall: {}}
controller:
  backend: polled
  capture_priority: 0
  expects: {dead_time: 2 us}
  registers: {file: registers, level: 0, output: 8}
cycle: {period: 20 ms}
harness:
  gates: {active: high}
  lines:
    gates: {UH: {offset: 0}, UL: {offset: 1}, VH: {offset: 2}, VL: {offset: 3}, WH: {offset: 4}, WL: {offset: 5}}
  stop_circuit: {offset: 8}
  bus_dead: {offset: 9}
)");
    write_text(path("key.yaml"),
               "scenario: Key\nlasts: 100 ms\ntimeline:\n  - {at: 20 ms, key: on}\n");
    return call({"run", path("polled.yaml").string(), path("key.yaml").string(), "--allow-soft",
                 "--out", "kept"});
  }
};

TEST_F(BeforeArming, AnOpenStopCircuitIsRefusedAndLeavesNoFolder) {
  const Answer answer = run_with('\2');
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.err, HasSubstr("emergency stop's circuit is open"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(BeforeArming, ALiveBusIsRefusedAndLeavesNoFolder) {
  const Answer answer = run_with('\1');
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.err, HasSubstr("not measured dead"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(BeforeArming, WithBothInOrderItRuns) {
  const Answer answer = run_with('\3');
  EXPECT_THAT(answer.status, AnyOf(0, 4)) << answer.err;  // 4: this computer let it fall behind
  EXPECT_TRUE(fs::exists(path("kept/run.json"))) << answer.err;
}

TEST_F(WallClock, RefusesToHoldEdgesForLongerThanTheDelay) {
  const Answer answer = call({"run", bench(), scenario("1 s"), "--clock", "wall", "--allow-soft",
                              "--out", "kept", "--set", "controller.expects.pwm_frequency=16 kHz",
                              "--set", "cycle.gates.averaged=on"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("cycle.delay: delay is 50 us"));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(WallClock, RefusesACycleThatNoComputerHolds) {
  const Answer answer =
      call({"run", bench(), scenario("1 s"), "--clock", "wall", "--set", "cycle.period=1 us"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("cycle.period"));
}

TEST_F(WallClock, HostMeasuresTheBenchsCycleAndSaysWhatToChange) {
  fs::permissions(path(""), fs::perms::all);
  const Answer answer =
      call({"host", bench(), "--seconds", "0.3", "--set", "cycle.period=5 ms"}, {}, without_rights);
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.out, HasSubstr("cycle of 5000 us"));
  EXPECT_THAT(answer.out, HasSubstr("wake-up lateness"));
  EXPECT_THAT(answer.out, HasSubstr("UNFIT"));
  EXPECT_THAT(answer.out, HasSubstr("limits.d"));
}

TEST_F(WallClock, HostRefusesAWrongRequest) {
  EXPECT_EQ(call({"host", "nowhere.yaml"}).status, 2);
  EXPECT_EQ(call({"host", "--seconds", "soon"}).status, 2);
  EXPECT_EQ(call({"host", "--set", "cycle.period=1 ms"}).status, 2);  // of which bench?
}

}  // namespace
}  // namespace stillrotor::test
