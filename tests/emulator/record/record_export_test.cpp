// What people see of a record: the summary, and signals as comma-separated values.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <sstream>

#include "emulator/record/csv_export.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/record_text.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;
using testing::ScratchFolder;

constexpr std::int64_t grid_ps = 1'000'000'000;  // 1 kHz

/// 20,000 points: speed counts up from 1; torque is 0.1 with a spread of 0 to 0.2.
void record_run(const std::filesystem::path& folder, bool finish = true) {
  RecordHeader header;
  header.bench = "Orchard cart";
  header.scenario = "Hill";
  header.clock = "virtual";
  header.rate_Hz = 1e3;
  header.pole_pairs = 23;
  Recorder recorder(folder, header);
  recorder.edge({1'500'000'000'000, 0, 1});
  recorder.mark(MarkKind::fault, 2'000'000'000'000, "hall_line_open", "U");
  Frame frame;
  for (std::int64_t k = 0; k < 20'000; ++k) {
    frame.at_ps = (k + 1) * grid_ps;
    frame.value[static_cast<std::size_t>(Signal::speed)] = static_cast<float>(k + 1);
    frame.value[static_cast<std::size_t>(Signal::torque)] = 0.1F;
    frame.greatest[static_cast<std::size_t>(Signal::torque)] = 0.2F;
    recorder.frame(frame);
  }
  if (finish) recorder.finish(20'000 * grid_ps);
}

std::string exported(const std::filesystem::path& folder, const CsvSelection& selection) {
  const auto file = folder / "out.csv";
  export_csv(RecordReader(folder), selection, file);
  std::stringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  EXPECT_FALSE(std::filesystem::exists(folder / "out.csv.part"));
  return text.str();
}

std::string refusal(const std::filesystem::path& folder, const CsvSelection& selection) {
  try {
    export_csv(RecordReader(folder), selection, folder / "out.csv");
  } catch (const std::invalid_argument& error) {
    EXPECT_FALSE(std::filesystem::exists(folder / "out.csv"));
    return error.what();
  }
  return "";
}

TEST(CsvExport, GivesTheSignalsAskedForInTheWindowAskedFor) {
  const ScratchFolder folder;
  record_run(folder.path());
  // RFC 4180: lines end with CR LF. Values are the shortest that read back as the same float32.
  EXPECT_EQ(exported(folder.path(), {{"speed", "torque", "torque.greatest"}, 0.009, 0.011}),
            "time_s,speed [rad/s],torque [N m],torque.greatest [N m]\r\n"
            "0.009,9,0.1,0.2\r\n0.01,10,0.1,0.2\r\n0.011,11,0.1,0.2\r\n");
}

TEST(CsvExport, GivesEverySignalAndTheWholeRecordUnlessTold) {
  const ScratchFolder folder;
  record_run(folder.path());
  const std::string text = exported(folder.path(), {});
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 20'001);
  const std::string header = text.substr(0, text.find('\r'));
  EXPECT_EQ(std::count(header.begin(), header.end(), ','), signal_count);  // after the time
}

TEST(CsvExport, GivesTheFirmwaresVariablesBehindTheSignals) {
  const ScratchFolder folder;
  record_run(folder.path());
  EXPECT_TRUE(firmware_signals(folder.path()).empty());
  // One is shorter than the record: the rest is not known.
  add_firmware_signals(folder.path(), 1e3, {{"wish", "torque_A float", {1.5F, 2.5F, 3.5F}}});
  const auto found = firmware_signals(folder.path());
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].text, "torque_A float");
  const auto file = folder.path() / "out.csv";
  export_csv(RecordReader(folder.path()), {{"speed", "firmware.wish"}, 0.002, 0.004}, file, found);
  std::stringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  EXPECT_EQ(text.str(),
            "time_s,speed [rad/s],firmware.wish\r\n0.002,2,2.5\r\n0.003,3,3.5\r\n0.004,4,nan\r\n");
  EXPECT_THROW(add_firmware_signals(folder.path(), 1e3, {{"wish", "", {}}}), std::runtime_error);
}

TEST(CsvExport, NamesWhatIsWrongAndWritesNothing) {
  const ScratchFolder folder;
  record_run(folder.path());
  EXPECT_THAT(refusal(folder.path(), {{"sped"}}),
              AllOf(HasSubstr("no signal \"sped\""), HasSubstr("speed, angle_e")));
  EXPECT_THAT(refusal(folder.path(), {{"speed.least"}}), HasSubstr("no signal \"speed.least\""));
  EXPECT_THAT(refusal(folder.path(), {{}, 30.0}), HasSubstr("no grid point"));
  EXPECT_THAT(refusal(folder.path(), {{}, 2.0, 1.0}), HasSubstr("no grid point"));
}

TEST(CsvExport, ThatCannotBeWrittenLeavesNothing) {
  const ScratchFolder folder;
  record_run(folder.path());
  EXPECT_THROW(export_csv(RecordReader(folder.path()), {}, folder.path() / "missing" / "out.csv"),
               std::system_error);
}

TEST(RecordText, SaysWhatIsInTheRecord) {
  const ScratchFolder folder;
  record_run(folder.path());
  const std::string text = record_text(RecordReader(folder.path()));
  EXPECT_THAT(text, AllOf(HasSubstr("bench       Orchard cart\n"), HasSubstr("pole pairs  23\n"),
                          HasSubstr("covers      0 s to 20.000000000 s, finished\n"),
                          HasSubstr("grid        20000 points, 1000 Hz\n")));
  // By hand: mean of 1 .. 20000.
  EXPECT_THAT(text, ::testing::ContainsRegex("speed +rad/s +1 +10000.5 +20000 "));
  EXPECT_THAT(text, ::testing::ContainsRegex("torque +N m +0 +0.1 +0.2 "));
  EXPECT_THAT(text, ::testing::ContainsRegex("gates.UH +1 +1.500000000 +1.500000000   low"));
  EXPECT_THAT(text, ::testing::ContainsRegex("2.000000000 s  fault  hall_line_open: U"));
}

TEST(RecordText, SaysThatARecordWasCutShort) {
  const ScratchFolder folder;
  record_run(folder.path(), false);
  EXPECT_THAT(record_text(RecordReader(folder.path())), HasSubstr("CUT SHORT"));
}

}  // namespace
}  // namespace stillrotor
