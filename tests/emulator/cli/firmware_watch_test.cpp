// Variables of firmware on simulated microcontrollers, through the whole program: what is recorded,
// what is listed, what is refused. The firmware is tests/io/image/firmware, whose numbers are
// known.
#include <cmath>
#include <map>

#include "emulator/record/firmware_signals.hpp"
#include "emulator/record/record_reader.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using Values = std::map<std::string, float>;

class FirmwareWatchTest : public ProgramTest {
 protected:
  static std::string shipped(const std::string& name) {
    return STILLROTOR_SOURCE_DIR "/configs/benches/" + name + ".yaml";
  }
  static std::string built(const std::string& name) {
    return STILLROTOR_BUILD_DIR "/firmware/" + name;
  }
  void require(const std::string& file) {
    if (!fs::exists(built(file))) GTEST_SKIP() << file << " is not built: its compiler is missing";
  }
  Answer run(const std::string& bench, const std::string& watch, const std::string& firmware = "",
             const char* command = "run") {
    std::vector<std::string> words{command, bench, scenario("40 ms")};
    if (std::string(command) == "run") words.insert(words.end(), {"--out", "watched"});
    words.insert(words.end(), {"--set", "controller.watch=" + watch});
    if (!firmware.empty())
      words.insert(words.end(), {"--set", "controller.firmware=" + built(firmware)});
    return call(words);
  }
  /// The last of each, which does not change once main() runs.
  Values last(const Answer& answer) {
    EXPECT_EQ(answer.status, 0) << answer.err;
    Values values;
    if (answer.status != 0) return values;
    const std::size_t points = RecordReader(path("watched")).frames();
    for (const FirmwareSignal& one : firmware_signals(path("watched"))) {
      EXPECT_EQ(one.values.size(), points);
      values[one.name] = one.values.back();
      texts_[one.name] = one.text;
    }
    return values;
  }
  void refuses(const std::string& bench, const std::string& firmware, const std::string& path_text,
               const std::string& text) {
    const Answer answer = run(bench, "{a: " + path_text + "}", firmware);
    EXPECT_EQ(answer.status, 2) << path_text;
    EXPECT_NE(answer.err.find(text), std::string::npos) << path_text << ": " << answer.err;
    EXPECT_FALSE(fs::exists(path("watched"))) << path_text;
  }
  std::map<std::string, std::string> texts_;

  /// firmware/drive.h, with what stands in drive.c and other.c.
  static constexpr const char* everything =
      "{deep: drive.axis[1].pid[0].integral, last: drive.axis[2].pid[1].integral, "
      "id: drive.axis[2].id, iq: drive.iq_target, state: drive.state, direction: drive.direction, "
      "enabled: drive.enabled, energy: drive.energy_J, ticks: drive.ticks, position: "
      "drive.position, armed: drive.flags.armed, level: drive.flags.level, trim: drive.flags.trim, "
      "code: drive.flags.code, word: drive.word, byte: drive.bytes[2], turns: drive.counter.turns, "
      "table: drive.table[1][2], gain: gain, gain_typed: gain float, static_gain: other:gain, "
      "count: drive.c:count, other_count: other.c:count, loop: loop.integral, "
      "first: first:step, second: drive.c:second:step, only: only, raw: loop+4 float}";
  static Values expected() {
    return {{"deep", 5.5F},
            {"last", 11.5F},
            {"id", 3},
            {"iq", -12.25F},
            {"state", 200},
            {"direction", -1},
            {"enabled", 1},
            {"energy", 1024.5F},
            {"ticks", 0x1p40F},
            {"position", -0x1p40F},
            {"armed", 1},
            {"level", 5},
            {"trim", -3},
            {"code", 1500},
            {"word", 67305984.0F},
            {"byte", 3},
            {"turns", -70000},
            {"table", 22},
            {"gain", 0.75F},
            {"gain_typed", 0.75F},
            {"static_gain", 44},
            {"count", 1001},
            {"other_count", 2002},
            {"loop", -0.25F},
            {"first", 11},
            {"second", 22},
            {"only", 33},
            {"raw", -0.25F}};
  }
};

TEST_F(FirmwareWatchTest, RecordsMembersOnACortex) {
  require("variables_arm.elf");
  if (IsSkipped()) return;
  EXPECT_EQ(last(run(shipped("orchard-cart-mid-m4"), everything, "variables_arm.elf")), expected());
  EXPECT_EQ(texts_["deep"], "drive.axis[1].pid[0].integral float");
  EXPECT_EQ(texts_["state"], "drive.state enum state (uint8)");
  EXPECT_EQ(texts_["gain_typed"], "gain float");
}

TEST_F(FirmwareWatchTest, RecordsMembersOnAnAvr) {
  require("variables_avr.elf");
  if (IsSkipped()) return;
  EXPECT_EQ(last(run(shipped("orchard-cart-hub"), everything, "variables_avr.elf")), expected());
}

TEST_F(FirmwareWatchTest, KnowsWholeVariablesWithoutDebugInformation) {
  require("variables_arm_plain.elf");
  if (IsSkipped()) return;
  const std::string m4 = shipped("orchard-cart-mid-m4"), plain = "variables_arm_plain.elf";
  refuses(m4, plain, "drive.state", "has no debug information. Compile and link it with -g");
  refuses(m4, plain, "gain", "the type of gain is not known");
  refuses(m4, plain, "count uint16", "compile with -g and write file.c:count");
  EXPECT_EQ(last(run(m4, "{gain: gain float, loop: loop+4 float}", plain)),
            (Values{{"gain", 0.75F}, {"loop", -0.25F}}));
}

TEST_F(FirmwareWatchTest, RefusesWhatIsNotThere) {
  require("variables_arm.elf");
  if (IsSkipped()) return;
  const std::pair<const char*, const char*> cases[] = {
      {"drive.iq_trget", "Did you mean iq_target?"},
      {"drive.axis[1].pid[0].x", "which has no member x. Known here: gain, integral."},
      {"drive.axis[3].id", "allowed drive.axis[0] to drive.axis[2]"},
      {"drive.axis[-1].id", "[-1] is no index"},
      {"drive.axis[1.id", "a ] is missing"},
      {"drive.axis.id", "name an element: drive.axis[0].id"},
      {"drive.table[1]", "drive.table[1] is int16_t[3]. Name an element: drive.table[1][0]"},
      {"drive.axis[0].pid[1]",
       "is struct pid. Name a member: drive.axis[0].pid[1].gain, .integral."},
      {"drive.axis[0].source", "is a pointer, which is no number to be recorded"},
      {"drive.axis[0].source[0]", "is a pointer and has no elements"},
      {"drive.axis[0].source->x", "pointers are not followed"},
      {"gain.x", "gain is float and has no members"},
      {"drive float", "is drive_t by the firmware's debug information, and float by the bench"},
      {"gain int32", "gain is float by the firmware's debug information, and int32 by the bench"},
      {"drive.flags.level uint8", "is uint8_t (uint8), 3 bits by"},
      {"count", "several variables count: drive.c:count, other.c:count. Name one"},
      {"step", "first:step, second:step. Name one of these"},
      {"gian", "Did you mean gain?"},
      {"other.c:only", "no variable other.c:only"},
      {"loop+6 float", "loop has 8 bytes, and these would end at byte 10"},
      {"loop+4", "bytes at an offset need a type"},
      {"gain flaot", "its type is not known"},
  };
  for (const auto& [path_text, text] : cases)
    refuses(shipped("orchard-cart-mid-m4"), "variables_arm.elf", path_text, text);
  refuses(shipped("orchard-cart-mid-hostfw"), "", "gain", "controller.watch");
}

TEST_F(FirmwareWatchTest, IsToldByCheckAndList) {
  require("variables_arm.elf");
  if (IsSkipped()) return;
  const std::string m4 = shipped("orchard-cart-mid-m4");
  const Answer checked =
      run(m4, "{deep: drive.axis[1].pid[0].integral}", "variables_arm.elf", "check");
  EXPECT_EQ(checked.status, 0) << checked.err;
  EXPECT_NE(checked.out.find("firmware.deep"), std::string::npos) << checked.out;
  EXPECT_EQ(run(m4, "{deep: drive.axs}", "variables_arm.elf", "check").status, 2);
  const auto listed = [&](const char* firmware) {
    return call({"list", "variables", m4, "--set", "controller.firmware=" + built(firmware)});
  };
  const Answer all = listed("variables_arm.elf");
  EXPECT_EQ(all.status, 0) << all.err;
  for (const char* text : {"drive.axis[0..2].pid[0..1].integral  float ", "drive.flags.code",
                           "enum state (uint8)", "first:step", "other:gain", "a pointer, not"})
    EXPECT_NE(all.out.find(text), std::string::npos) << text << '\n' << all.out;
  EXPECT_NE(listed("variables_arm_plain.elf").out.find("Compile and link it with -g"),
            std::string::npos);
  EXPECT_EQ(call({"list", "variables"}).status, 2);
  EXPECT_EQ(call({"list", "measures", m4}).status, 2);
}

// The same run with and without, and on a machine that drives.
TEST_F(FirmwareWatchTest, ChangesNothingInTheRunOfAnAvr) {
  require("orchard_six_step.elf");
  if (IsSkipped()) return;
  const auto hash = [&](const std::vector<std::string>& more, const char* out) {
    std::vector<std::string> words{"run", shipped("orchard-cart-hub"), scenario("60 ms"), "--out",
                                   out};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(call(words).status, 0);
    const std::string text = read_text(path(std::string(out) + "/result.json"));
    const std::size_t at = text.find("signals_xxh128");
    EXPECT_NE(at, std::string::npos);
    return text.substr(at, 90);
  };
  EXPECT_EQ(
      hash({"--set", "controller.watch={bus: bus, throttle: throttle, offset: offset[1]}"}, "with"),
      hash({}, "without"));
  const auto watched = firmware_signals(path("with"));
  ASSERT_EQ(watched.size(), 3U);  // by name
  EXPECT_GT(watched[0].values.back(), 0.0F);
  EXPECT_GT(watched[2].values.back(), watched[2].values[200]);  // opened at 20 ms
}

}  // namespace
}  // namespace stillrotor::test
