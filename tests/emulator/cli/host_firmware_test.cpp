// Firmware compiled for the host through the real program: our own drive passes, twice the same;
// a broken one fails `controller_alive` with its reason, and the record is whole.
#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "emulator/record/record_reader.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using ::testing::ContainsRegex;
using ::testing::HasSubstr;

const std::string configs = STILLROTOR_SOURCE_DIR "/configs/";
const std::string mid_bench = configs + "benches/orchard-cart-mid-hostfw.yaml";
const std::string firmware = STILLROTOR_BUILD_DIR "/firmware/";

class HostFirmwareRun : public ProgramTest {
 protected:
  std::string scenario(const std::string& throttle) {
    write_text(path("short.yaml"), R"(scenario: Short
lasts: 2.5 s
start: {speed: 0 rpm, key: off}
timeline:
  - {at: 50 ms, key: on}
  - {at: 0.2 s, throttle: )" + throttle +
                                       R"(, over: 10 ms}
expect:
  - {measure: speed_mean, from: 2 s, to: 2.5 s, min: 5 rpm}
)");
    return path("short.yaml").string();
  }
  nlohmann::json result(const std::string& folder) {
    return nlohmann::json::parse(read_text(path(folder + "/result.json")));
  }
};

TEST_F(HostFirmwareRun, DrivesTheCartTwiceTheSame) {
  for (const std::string out : {"one", "two"}) {
    const Answer answer = call({"run", mid_bench, scenario("2.2 V"), "--out", out});
    ASSERT_EQ(answer.status, 0) << answer.out << answer.err;
  }
  EXPECT_EQ(read_text(path("one/result.json")), read_text(path("two/result.json")));
  EXPECT_EQ(result("one")["firmware_sha256"].get<std::string>().size(), 64u);
}

TEST_F(HostFirmwareRun, IsTheSameWithinTheProgram) {
  ASSERT_EQ(call({"run", mid_bench, scenario("2.2 V"), "--out", "own"}).status, 0);
  ASSERT_EQ(call({"run", mid_bench, scenario("2.2 V"), "--out", "shared", "--set",
                  "controller.in_process=on"})
                .status,
            0);
  EXPECT_EQ(result("own")["signals_xxh128"], result("shared")["signals_xxh128"]);
}

TEST_F(HostFirmwareRun, FindsItsRotorWithoutHallsByPullingItToAFixedVector) {
  const Answer answer = call({"run", mid_bench, scenario("2.2 V"), "--out", "kept", "--set",
                              "controller.firmware=" + firmware + "orchard_foc_align.so"});
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
}

TEST_F(HostFirmwareRun, FailsWithTheReasonWhenTheFirmwareCrashesAndKeepsTheRecord) {
  // At rest the wire shows 0.85 V, which this firmware takes as an order to run out of stack.
  const Answer answer = call({"run", mid_bench, scenario("3 V"), "--out", "kept", "--set",
                              "controller.firmware=" + firmware + "test_misdeeds.so"});
  EXPECT_EQ(answer.status, 1) << answer.out << answer.err;
  EXPECT_THAT(answer.out, ContainsRegex("FAIL.*touched memory that is not its own"));
  EXPECT_EQ(result("kept")["verdict"], "FAIL");
  EXPECT_NEAR(RecordReader(path("kept")).end_s(), 2.5, 1e-3);
}

TEST_F(HostFirmwareRun, RefusesAFileThatIsNoFirmwareWithItsLine) {
  const Answer answer =
      call({"check", mid_bench, "--set", "controller.firmware=" + firmware + "test_no_table.so"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("sr_firmware_table"));
}

}  // namespace
}  // namespace stillrotor::test
