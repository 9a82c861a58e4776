// `stillrotor run` through the real program: exit statuses, what it leaves behind, what it refuses.
#include <gmock/gmock.h>
#include <sys/resource.h>

#include <map>
#include <nlohmann/json.hpp>

#include "emulator/cli/run_folder.hpp"
#include "emulator/record/record_reader.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using ::testing::AllOf;
using ::testing::ContainsRegex;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;

class RunCommand : public ProgramTest {
 protected:
  nlohmann::json document(const std::string& name) {
    return nlohmann::json::parse(read_text(path(name)));
  }
};

TEST_F(RunCommand, PassesAndLeavesItsFolder) {
  const Answer answer =
      call({"run", bench(), scenario("200 ms", "  - {measure: phase_current_peak, max: 500 A}\n"),
            "--out", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, AllOf(HasSubstr("PASS"), HasSubstr("phase_current_peak"),
                                HasSubstr("kept"), HasSubstr("no safety function")));
  for (const char* file : {"bench.yaml", "scenario.yaml", "record.h5", "result.json", "run.json",
                           "log.txt", "report.html", "junit.xml"})
    EXPECT_TRUE(fs::exists(path("kept") / file)) << file;
  EXPECT_EQ(document("kept/result.json")["verdict"], "PASS");
  EXPECT_EQ(document("kept/run.json")["speed"]["model_s"], 0.2);
  EXPECT_EQ(document("kept/run.json")["interrupted"], false);
  const RecordReader record(path("kept"));
  EXPECT_TRUE(record.finished());
  EXPECT_EQ(record.frames(), 4000U);  // 0.2 s at 20 kHz
}

// Six-step commutation puts some of its current against the magnets.
TEST_F(RunCommand, SaysWhatBecameOfPlantAndMagnets) {
  call({"run", bench(), scenario("200 ms"), "--out", "sound"});
  const auto sound = document("sound/run.json")["plant"];
  EXPECT_EQ(sound["forced_steps"], 0);
  EXPECT_EQ(sound["inconsistent_modes"], 0);
  EXPECT_EQ(sound["outside_flux_map_s"], 0.0);
  EXPECT_EQ(sound["magnet_flux_left"], 1.0);
  EXPECT_THAT(read_text(path("sound/result.json")), Not(HasSubstr("magnets lose flux")));

  const Answer weak = call({"run", bench(), scenario("200 ms"), "--out", "weak", "--set",
                            "machine.demagnetisation.knee=-0.1 A", "--set",
                            "machine.demagnetisation.lose_all_within=1000 A"});
  EXPECT_EQ(weak.status, 0) << weak.err;
  EXPECT_LT(document("weak/run.json")["plant"]["magnet_flux_left"], 1.0);
  EXPECT_THAT(read_text(path("weak/result.json")), HasSubstr("magnets lose flux: "));
}

TEST_F(RunCommand, WithoutLimitsGivesNoVerdictAndStatusZero) {
  const Answer answer = call({"run", bench(), scenario("50 ms"), "--out", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("NONE"));
  EXPECT_EQ(document("kept/result.json")["verdict"], "NONE");
}

TEST_F(RunCommand, FailsWithStatusOneWhenALimitIsBroken) {
  const Answer answer =
      call({"run", bench(), scenario("200 ms", "  - {measure: phase_current_peak, max: 1 A}\n"),
            "--out", "kept"});
  EXPECT_EQ(answer.status, 1) << answer.err;
  EXPECT_EQ(document("kept/result.json")["verdict"], "FAIL");
}

// The gates never go off, so the time until they do cannot be measured.
TEST_F(RunCommand, IsInvalidWithStatusThreeWhenAMeasureIsUndefined) {
  const Answer answer = call(
      {"run", bench(),
       scenario("200 ms",
                "  - {measure: time_to_gates_off, after: throttle, max: 1 electrical turns}\n"),
       "--out", "kept"});
  EXPECT_EQ(answer.status, 3) << answer.out << answer.err;
  EXPECT_EQ(document("kept/result.json")["verdict"], "INVALID");
}

TEST_F(RunCommand, NamesItsFolderAfterTimeBenchAndScenario) {
  const std::string file = scenario("20 ms");
  for (int k = 0; k < 2; ++k) EXPECT_EQ(call({"run", bench(), file}).status, 0);
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(path("runs")))
    names.push_back(entry.path().filename().string());
  ASSERT_EQ(names.size(), 2U);  // also when both begin in one second
  for (const auto& name : names)
    EXPECT_THAT(name,
                ContainsRegex("^[0-9]{8}T[0-9]{6}Z-orchard-cart-hub-stand-in-drive-off(-2)?$"));
}

TEST_F(RunCommand, RefusesBrokenYamlWithFileAndLineAndLeavesNothing) {
  write_text(path("broken.yaml"), "bench: Broken\nmachine: {pole_pairs: [4\n");
  const Answer answer = call({"run", "broken.yaml", scenario("50 ms"), "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, ContainsRegex("broken\\.yaml:[0-9]+:[0-9]+: "));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(RunCommand, RefusesAnUnknownWordInTheScenarioWithItsLine) {
  const std::string file = scenario("50 ms", "  - {measure: smell_of_ozone, max: 1 A}\n");
  const Answer answer = call({"run", bench(), file});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, ContainsRegex("drive-off\\.yaml:7:[0-9]+: .*smell_of_ozone"));
  EXPECT_FALSE(fs::exists(path("runs")));
}

TEST_F(RunCommand, RefusesFilesThatAreNotThere) {
  EXPECT_EQ(call({"run", "nowhere.yaml", scenario("50 ms")}).status, 2);
  const Answer answer = call({"run", bench(), "nowhere.yaml"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("nowhere.yaml"));
}

TEST_F(RunCommand, RefusesAFolderThatHoldsSomething) {
  fs::create_directory(path("kept"));
  write_text(path("kept") / "thesis.txt", "three years of work");
  const Answer answer = call({"run", bench(), scenario("50 ms"), "--out", "kept"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, AllOf(HasSubstr("kept"), HasSubstr("not empty")));
  EXPECT_EQ(std::distance(fs::directory_iterator(path("kept")), fs::directory_iterator()), 1);
  EXPECT_EQ(read_text(path("kept") / "thesis.txt"), "three years of work");
}

TEST_F(RunCommand, RefusesWordsItDoesNotKnow) {
  EXPECT_EQ(call({"run", bench()}).status, 2);
  EXPECT_EQ(call({"run", bench(), scenario("50 ms"), "--pace", "moon"}).status, 2);
  EXPECT_EQ(call({"jog"}).status, 2);
  EXPECT_EQ(call({}).status, 2);
}

TEST_F(RunCommand, ExplainsItself) {
  const Answer help = call({"run", "--help"});
  EXPECT_EQ(help.status, 0);
  EXPECT_THAT(help.out, AllOf(HasSubstr("Examples"), HasSubstr("--set"), HasSubstr("Exit status")));
  const Answer version = call({"--version"});
  EXPECT_EQ(version.status, 0);
  EXPECT_THAT(version.out, ContainsRegex("stillrotor [0-9]+\\.[0-9]+\\.[0-9]+ \\(.+\\)"));
}

double peak_A(const nlohmann::json& result) {
  for (const auto& entry : result["measures"])
    if (entry["name"] == "phase_current_peak") return entry["value"];
  return -1.0;
}

// A stalled rotor's current is limited by the controller; with ten times the resistance it cannot
// even get there: less peak current. The override is stamped into the result.
TEST_F(RunCommand, SetChangesTheMachine) {
  const std::string file = scenario("200 ms", "  - {measure: phase_current_peak, max: 500 A}\n");
  EXPECT_EQ(call({"run", bench(), file, "--out", "plain"}).status, 0);
  EXPECT_EQ(call({"run", bench(), file, "--out", "changed", "--set",
                  "machine.winding_resistance=500 mohm"})
                .status,
            0);
  const auto plain = document("plain/result.json"), changed = document("changed/result.json");
  EXPECT_LT(peak_A(changed), 0.9 * peak_A(plain));
  EXPECT_EQ(changed["overrides"][0], "machine.winding_resistance=500 mohm");
  EXPECT_TRUE(plain["overrides"].empty());
}

TEST_F(RunCommand, SetOfSomethingUnknownIsRefused) {
  const Answer answer =
      call({"run", bench(), scenario("50 ms"), "--set", "machine.winding_resistence=50 mohm"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("winding_resistance"));  // the nearest one
}

TEST_F(RunCommand, TwiceGivesTheSameResultToTheByte) {
  const std::string file = scenario("300 ms", "  - {measure: phase_current_peak, max: 500 A}\n");
  EXPECT_EQ(call({"run", bench(), file, "--out", "one"}).status, 0);
  EXPECT_EQ(call({"run", bench(), file, "--out", "two"}).status, 0);
  EXPECT_EQ(read_text(path("one/result.json")), read_text(path("two/result.json")));
  EXPECT_EQ(document("one/result.json")["signals_xxh128"].get<std::string>().size(), 32U);
  EXPECT_EQ(call({"record", "export", "one", "--vcd", "one.vcd"}).status, 0);
  EXPECT_EQ(call({"record", "export", "two", "--vcd", "two.vcd"}).status, 0);
  EXPECT_THAT(read_text(path("one.vcd")), HasSubstr("$dumpvars"));
  EXPECT_TRUE(read_text(path("one.vcd")) == read_text(path("two.vcd")));
}

// What lies in a stretch that was not to be kept cannot be judged; what was kept can.
TEST_F(RunCommand, KeepsWhatItIsToldToAndJudgesOnlyThat) {
  const std::string file =
      scenario("5 s",
               "  - {measure: phase_current_peak, from: 2 s, to: 3 s, max: 500 A}\n"
               "  - {measure: speed_max, from: 4.5 s, max: 10000 rpm}\n");
  const Answer answer =
      call({"run", bench(), file, "--out", "kept", "--keep-before", "500 ms", "--compress", "1"});
  EXPECT_EQ(answer.status, 3) << answer.out << answer.err;
  const auto result = document("kept/result.json");
  std::vector<std::string> verdicts;
  for (const auto& measure : result["measures"]) verdicts.push_back(measure["verdict"]);
  EXPECT_THAT(verdicts, ElementsAre("INVALID", "PASS", "PASS"));
  EXPECT_THAT(result["reason"].get<std::string>(), HasSubstr("not kept"));
  EXPECT_EQ(result["integrity"]["lost_edges"], 0);
  EXPECT_EQ(document("kept/run.json")["keeping"],
            (nlohmann::json{{"before_s", 0.5}, {"after_s", 1.0}}));
}

// What nobody wrote down is wrong by what it follows from: the message names both and the file.
TEST_F(RunCommand, NamesFileAndKeyOfAWrongDerivedDefault) {
  const Answer answer = call({"run", bench(), scenario("50 ms"), "--out", "kept", "--set",
                              "sensors.phase_current.offset=7 V"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("orchard-cart-hub-stand-in.yaml (follows: the bench's own "
                                    "value): controller.belief.current_offset: "));
  EXPECT_FALSE(fs::exists(path("kept")));
}

// The bench says what is kept; the option has the last word.
TEST_F(RunCommand, KeepsWhatTheBenchSays) {
  const std::string file = scenario("300 ms", "");
  const auto keeping = [&](const char* out, std::vector<std::string> more) {
    std::vector<std::string> words{"run", bench(), file, "--out", out};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(call(words).status, 0);
    return document(std::string(out) + "/run.json")["keeping"];
  };
  EXPECT_EQ(keeping("all", {}), "everything");
  EXPECT_EQ(keeping("bench", {"--set", "record.keep_after=20 ms"}),
            (nlohmann::json{{"before_s", 2.0}, {"after_s", 0.02}}));
  EXPECT_EQ(keeping("both", {"--set", "record.keep_before=70 ms", "--set",
                             "record.keep_after=20 ms", "--keep-before", "50 ms"}),
            (nlohmann::json{{"before_s", 0.05}, {"after_s", 0.02}}));
}

// A real record: what goes in is what comes out and what gets warm; six-step lies where its Halls
// are (1.5 degrees off at U); a throttle that closes ends gates and torque.
TEST_F(RunCommand, MeasuresWhatHappens) {
  write_text(path("more.yaml"),
             "scenario: Measures\nlasts: 1.6 s\nstart: {speed: 60 rpm, key: on}\ntimeline:\n"
             "  - {at: 20 ms, throttle: 2.2 V, over: 20 ms}\n  - {at: 1.5 s, brake: on}\nexpect:\n"
             "  - {measure: torque_harmonic, harmonic: 6, from: 0.5 s, to: 1.4 s, max: 100 N m}\n"
             "  - {measure: phase_current_harmonic, harmonic: 1, phase: U, from: 0.5 s, to: 1.4 s, "
             "min: 1 A}\n"
             "  - {measure: text_matches, pattern: \"fault\", max: 0}\n"
             "  - {measure: time_to_zero_torque, after: brake on, max: 50 ms}\n"
             "  - {measure: restarts, after: brake on, max: 0}\n"
             "  - {measure: bus_overvoltage, after: brake on, max: 5 V}\n"
             "  - {measure: speed_deviation, after: brake on, max: 100 rpm}\n");
  const Answer answer = call({"run", bench(), path("more.yaml"), "--out", "more"});
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
  std::map<std::string, double> found;
  const nlohmann::json result = document("more/result.json");
  for (const auto& row : result["overview"])
    if (row["value"].is_number()) found[row["name"]] = row["value"];
  const auto within = [&](const char* measure, double least, double most) {
    ASSERT_TRUE(found.contains(measure)) << measure;
    EXPECT_GE(found[measure], least) << measure;
    EXPECT_LE(found[measure], most) << measure;
  };
  within("efficiency", 0.4, 0.95);
  within("copper_loss", 1.0, 300.0);
  // Six switches of 4 mohm against windings of 42 mohm, two of each in the current's way, and
  // diodes.
  within("remaining_loss", 0.0, found["copper_loss"]);
  within("commutation_error_mean", -0.03, 0.05);
  within("commutation_error_spread", 0.0, 0.1);
  within("modulation_index", 0.02, 1.103);
  within("phase_current_unbalance", 0.0, 0.1);
  within("phase_current_distortion", 0.1, 0.6);  // blocks of 120 degrees: 0.31
  within("distance_from_best_torque", 0.0, 0.05);
  within("pwm_jitter", 0.0, 1e-7);
  within("temperature_winding_max", 290.0, 400.0);
}

TEST_F(RunCommand, ResolvedFilesRunToTheSameSignals) {
  const std::string file = scenario("100 ms");
  EXPECT_EQ(
      call({"run", bench(), file, "--out", "one", "--set", "supply.resistance=60 mohm"}).status, 0);
  const Answer again = call({"run", "one/bench.yaml", "one/scenario.yaml", "--out", "two"});
  EXPECT_EQ(again.status, 0) << again.err;
  EXPECT_EQ(document("one/result.json")["signals_xxh128"],
            document("two/result.json")["signals_xxh128"]);
}

TEST_F(RunCommand, QuietSaysOnlyTheResult) {
  EXPECT_EQ(call({"run", bench(), scenario("50 ms"), "--quiet"}).err, "");
  EXPECT_NE(call({"run", bench(), scenario("50 ms")}).err, "");
}

// A file may not grow beyond 100 kB: what a full disk looks like.
TEST_F(RunCommand, FailsWithStatusFourAndNoVerdictWhenTheDiskIsFull) {
  const Answer answer = call({"run", bench(), scenario("1 s"), "--out", "kept"}, {}, [] {
    const rlimit limit{100'000, 100'000};
    setrlimit(RLIMIT_FSIZE, &limit);
    std::signal(SIGXFSZ, SIG_IGN);
    setenv("ASAN_OPTIONS", "detect_leaks=0", 1);  // HDF5 keeps names of what it could not write
  });
  EXPECT_EQ(answer.status, 4) << answer.out << answer.err;
  EXPECT_THAT(answer.err, HasSubstr("kept"));
  EXPECT_FALSE(fs::exists(path("kept/result.json")));
}

TEST_F(RunCommand, FailsWithStatusFourWhereNoFolderCanBe) {
  write_text(path("file"), "");
  EXPECT_EQ(call({"run", bench(), scenario("50 ms"), "--out", "file/below"}).status, 4);
}

// Source: NIST FIPS 180-4 example, SHA-256 of "abc" (value from memory).
TEST_F(RunCommand, HashesFirmwareLikeEverybodyElse) {
  write_text(path("abc"), "abc");
  EXPECT_EQ(file_sha256(path("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_THROW(file_sha256(path("nowhere")), std::runtime_error);
}

}  // namespace
}  // namespace stillrotor::test
