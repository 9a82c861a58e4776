// result.json: complete, the same bytes every time, whole or absent.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "emulator/judge/result.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;
using nlohmann::json;
using nlohmann::ordered_json;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

SyntheticRecord& broken_hill(SyntheticRecord& record) {
  return record.constant(Signal::current_V, 41.0)
      .mark(MarkKind::action, 10 * ms, "key on", "key on")
      .mark(MarkKind::action, 20 * ms, "throttle", "throttle 2.6 V over 300 ms")
      .mark(MarkKind::fault, 30 * ms, "hall_line_open", "U")
      .mark(MarkKind::event, 60 * ms, "shoot-through", "V")
      .mark(MarkKind::event, 40 * ms, "all gates off")  // told late
      .mark(MarkKind::text, 45 * ms, "controller", "hello")
      .mark(MarkKind::gap, 70 * ms, "lost edges", "gates.UH", 71 * ms);
}

Scenario two_limits() {
  Scenario scenario;
  scenario.lasts_ps = 100 * ms;
  Limit peak;
  peak.measure = "phase_current_peak";
  peak.signal = "V";
  peak.window = window(0.0, 0.05);
  peak.max = 60.0;
  peak.because = "the magnets";
  Limit frequency;
  frequency.measure = "pwm_frequency";
  frequency.min = 7.9e3;
  scenario.expect = {peak, frequency};
  return scenario;
}

ResultFacts facts() {
  ResultFacts facts;
  facts.bench = "Orchard cart";
  facts.scenario = "Hill";
  facts.clock = "virtual";
  facts.overrides = {"machine.winding_resistance=50 mohm"};
  facts.seeds = {{"scenario", 7}};
  facts.possible_faults = {"hall_line_open", "hall_line_stuck", "phase_open"};
  facts.signals_xxh128 = "abc";
  facts.software_version = "0.1.0";
  facts.software_commit = "123";
  return facts;
}

std::string text_of_run() {
  SyntheticRecord record(0.1);
  const auto& read = broken_hill(record).read();
  return result_json(read, judge(read, two_limits()), facts());
}

TEST(ResultJson, HasEveryFieldInItsPlace) {
  const std::string text = text_of_run();
  const ordered_json result = ordered_json::parse(text);
  std::vector<std::string> keys;
  for (const auto& [key, value] : result.items()) keys.push_back(key);
  EXPECT_THAT(keys,
              ElementsAre("format", "bench", "scenario", "clock", "verdict", "reason", "integrity",
                          "overrides", "seeds", "measures", "overview", "faults", "events",
                          "not_tested", "firmware_sha256", "signals_xxh128", "software"));
  EXPECT_EQ(result["format"], 1);
  EXPECT_EQ(result["verdict"], "INVALID");
  EXPECT_EQ(result["seeds"]["scenario"], 7);
  EXPECT_EQ(
      result["integrity"]["gaps"],
      ordered_json::parse(
          R"([{"from_s": 0.07, "to_s": 0.071, "what": "lost edges", "detail": "gates.UH"}])"));
  ASSERT_EQ(result["measures"].size(), 3U);
  const auto& peak = result["measures"][0];
  EXPECT_EQ(peak["name"], "phase_current_peak");
  EXPECT_EQ(peak["phase"], "V");
  EXPECT_EQ(peak["value"], 41.0);
  EXPECT_EQ(peak["unit"], "A");
  EXPECT_EQ(peak["window_s"], ordered_json::parse("[0.0, 0.05]"));
  EXPECT_EQ(peak["min"], nullptr);
  EXPECT_EQ(peak["max"], 60.0);
  EXPECT_EQ(peak["verdict"], "PASS");
  EXPECT_EQ(peak["because"], "the magnets");
  const auto& frequency = result["measures"][1];
  EXPECT_EQ(frequency["value"], nullptr);
  EXPECT_EQ(frequency["verdict"], "INVALID");
  EXPECT_THAT(frequency["undefined"].get<std::string>(), HasSubstr("no gate rose"));
  EXPECT_GT(result["overview"].size(), 20U);
}

TEST(ResultJson, TellsFaultsAndEventsInOrderOfTime) {
  const json result = json::parse(text_of_run());
  EXPECT_EQ(result["faults"],
            json::parse(R"([{"name": "hall_line_open", "at_s": 0.03, "detail": "U"}])"));
  EXPECT_EQ(result["events"], json::parse(R"([{"t_s": 0.01, "what": "key on"},
      {"t_s": 0.02, "what": "throttle 2.6 V over 300 ms"}, {"t_s": 0.04, "what": "all gates off"},
      {"t_s": 0.06, "what": "shoot-through: V"}])"));
}

TEST(ResultJson, SaysWhatWasNotTested) {
  const json result = json::parse(text_of_run());
  std::vector<std::string> list = result["not_tested"];
  ASSERT_EQ(list.size(), 2U);
  EXPECT_THAT(list[0], HasSubstr("limit pwm_frequency could not be measured"));
  EXPECT_EQ(list[1], "faults that were not provoked: hall_line_stuck, phase_open");
}

TEST(ResultJson, IsTheSameBytesForTheSameRun) { EXPECT_EQ(text_of_run(), text_of_run()); }

TEST(ResultJson, RoundsToTheDigitsThatAFloat32Carries) {
  SyntheticRecord record(0.1);
  const auto& read = record.constant(Signal::current_U, 1.0 / 3.0).read();
  const json result = json::parse(result_json(read, judge(read, two_limits()), facts()));
  EXPECT_EQ(result["overview"][0]["value"].dump(), "0.3333333");
}

TEST(ResultJson, StaysValidWhenAMarkIsNoText) {
  SyntheticRecord record(0.1);
  const auto& read = record.mark(MarkKind::event, 5, "odd", "\xff\xfe").read();
  EXPECT_TRUE(json::accept(result_json(read, judge(read, two_limits()), facts())));
}

TEST(WriteResult, PutsTheWholeFileInPlaceAndNothingElse) {
  const ScratchFolder folder;
  write_result(folder.path(), "{\"old\": 1}");
  write_result(folder.path(), "{}");
  std::stringstream text;
  text << std::ifstream(folder.path() / "result.json").rdbuf();
  EXPECT_EQ(text.str(), "{}\n");
  const auto files = std::distance(std::filesystem::directory_iterator(folder.path()), {});
  EXPECT_EQ(files, 1);
}

TEST(WriteResult, ThrowsWithTheSystemsReason) {
  const ScratchFolder folder;
  try {
    write_result(folder.path() / "missing", "{}");
    FAIL() << "wrote into a folder that does not exist";
  } catch (const std::runtime_error& error) {
    EXPECT_THAT(error.what(), HasSubstr("result.json"));
    EXPECT_THAT(error.what(), HasSubstr("No such file or directory"));
  }
}

}  // namespace
}  // namespace stillrotor
