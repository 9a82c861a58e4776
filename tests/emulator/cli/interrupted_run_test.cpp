// A run that is stopped from outside keeps what it recorded and claims no verdict.
#include <chrono>
#include <nlohmann/json.hpp>
#include <thread>

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

}  // namespace
}  // namespace stillrotor::test
