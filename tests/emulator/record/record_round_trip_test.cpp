// What goes into a recorder comes out of a reader, of h5py, and of the VCD.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <fstream>
#include <sstream>

#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor {
namespace {

using ::testing::HasSubstr;
using testing::ScratchFolder;

constexpr std::int64_t grid_ps = 50'000'000;  // 20 kHz

/// Every value differs from every other: a swapped column or row shows.
float value_of(std::size_t frame, std::size_t column) {
  return static_cast<float>(frame * 64 + column);
}

Frame numbered_frame(std::size_t k) {
  Frame frame;
  frame.at_ps = static_cast<std::int64_t>(k + 1) * grid_ps;
  for (std::size_t s = 0; s < signal_count; ++s) frame.value[s] = value_of(k, s);
  for (std::size_t s = 0; s < spread_count; ++s) {
    frame.least[s] = value_of(k, 30 + s);
    frame.greatest[s] = value_of(k, 40 + s);
  }
  return frame;
}

RecordHeader header() {
  RecordHeader header;
  header.bench = "Orchard cart";
  header.scenario = "Hill, with a wire that breaks";
  header.clock = "virtual";
  header.pole_pairs = 23;
  header.initial_lines_high[0] = 0b1000'0000;  // hall.V
  header.initial_lines_high[1] = 0b0001'0000;  // key
  return header;
}

std::string read(const std::filesystem::path& file) {
  std::stringstream text;
  text << std::ifstream(file).rdbuf();
  return text.str();
}

// More than two chunks of 16384, and not a whole number of them or of batches of 64.
constexpr std::size_t many_frames = 40'001;

TEST(RecordRoundTrip, EverySignalComesBackValueByValue) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  for (std::size_t k = 0; k < many_frames; ++k) recorder.frame(numbered_frame(k));
  const RecordSummary summary = recorder.finish(many_frames * grid_ps + 7);
  EXPECT_EQ(summary.failure, "");
  EXPECT_EQ(summary.frames, many_frames);

  const RecordReader reader(folder.path());
  EXPECT_EQ(reader.bench(), "Orchard cart");
  EXPECT_EQ(reader.scenario(), "Hill, with a wire that breaks");
  EXPECT_EQ(reader.clock(), "virtual");
  EXPECT_EQ(reader.pole_pairs(), 23);
  EXPECT_EQ(reader.rate_Hz(), 20e3);
  EXPECT_TRUE(reader.finished());
  ASSERT_EQ(reader.frames(), many_frames);
  // The end is kept to the picosecond; as double seconds to 1 in 2^53.
  EXPECT_DOUBLE_EQ(reader.end_s(), 2.000050000007);
  for (std::size_t s = 0; s < signal_count; ++s) {
    const auto values = reader.values(static_cast<Signal>(s), 0, many_frames);
    for (std::size_t k = 0; k < many_frames; ++k) ASSERT_EQ(values[k], value_of(k, s)) << s;
  }
  for (std::size_t s = 0; s < spread_count; ++s) {
    const auto least = reader.least(static_cast<Signal>(s), 0, many_frames);
    const auto greatest = reader.greatest(static_cast<Signal>(s), 0, many_frames);
    for (std::size_t k = 0; k < many_frames; ++k) {
      ASSERT_EQ(least[k], value_of(k, 30 + s));
      ASSERT_EQ(greatest[k], value_of(k, 40 + s));
    }
  }
}

TEST(RecordRoundTrip, AWindowAcrossAChunkBorderIsReadAsAsked) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  for (std::size_t k = 0; k < many_frames; ++k) recorder.frame(numbered_frame(k));
  recorder.finish(many_frames * grid_ps);
  const RecordReader reader(folder.path() / "record.h5");
  const auto values = reader.values(Signal::torque, 16'380, 10);
  ASSERT_EQ(values.size(), 10U);
  for (std::size_t k = 0; k < 10; ++k) EXPECT_EQ(values[k], value_of(16'380 + k, 5));
  EXPECT_TRUE(reader.values(Signal::torque, many_frames, 0).empty());
  EXPECT_THROW(reader.values(Signal::torque, many_frames, 1), std::out_of_range);
  EXPECT_THROW(reader.values(Signal::torque, 1, std::size_t(-1)), std::out_of_range);
  EXPECT_THROW(reader.least(Signal::speed, 0, 1), std::out_of_range);  // has no spread
}

TEST(RecordRoundTrip, EdgesComeBackLineByLineInOrderToThePicosecond) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  constexpr std::int64_t count = 100'003;  // more than one chunk of every line
  for (std::int64_t k = 0; k < count; ++k) {
    recorder.edge({1'000'003 * k, static_cast<std::uint16_t>(k % 15), k / 15 % 2 == 0});
  }
  EXPECT_EQ(recorder.finish(1'000'003 * count).edges, static_cast<std::uint64_t>(count));
  const RecordReader reader(folder.path());
  std::int64_t found = 0;
  for (std::uint16_t line = 0; line < 15; ++line) {
    const auto& edges = reader.edges(line);
    for (std::size_t n = 0; n < edges.size(); ++n) {
      const auto k = static_cast<std::int64_t>(15 * n + line);
      ASSERT_EQ(edges[n].at_ps, 1'000'003 * k);
      ASSERT_EQ(edges[n].level, n % 2 == 0);
    }
    found += static_cast<std::int64_t>(edges.size());
    EXPECT_EQ(reader.initially_high(line), line == 7 || line == 12);
  }
  EXPECT_EQ(found, count);
}

TEST(RecordRoundTrip, MarksComeBackAndLongTextsAreCutVisibly) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  recorder.mark(MarkKind::action, 100, "key on", "");
  recorder.mark(MarkKind::gap, 200, "lost edges", "gates.UH", 300);
  // 199 ASCII letters, then a two-byte letter that the cut at 200 bytes must not split.
  recorder.mark(MarkKind::text, 400, "", std::string(199, 'x') + "\u00e4" + "tail");
  recorder.finish(1000);
  const RecordReader reader(folder.path());
  ASSERT_EQ(reader.marks().size(), 3U);
  EXPECT_EQ(reader.marks()[0].kind, MarkKind::action);
  EXPECT_EQ(reader.marks()[0].name, "key on");
  EXPECT_EQ(reader.marks()[1].kind, MarkKind::gap);
  EXPECT_EQ(reader.marks()[1].to_ps, 300);
  EXPECT_EQ(reader.marks()[1].detail, "gates.UH");
  EXPECT_EQ(reader.marks()[2].at_ps, 400);
  EXPECT_EQ(reader.marks()[2].detail, std::string(199, 'x') + "\u2026");
}

TEST(RecordRoundTrip, AnEmptyRunIsARecord) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  EXPECT_EQ(recorder.finish(0).failure, "");
  const RecordReader reader(folder.path());
  EXPECT_EQ(reader.frames(), 0U);
  EXPECT_TRUE(reader.finished());
  EXPECT_TRUE(reader.edges(0).empty());
  EXPECT_TRUE(reader.marks().empty());
}

TEST(RecordRoundTrip, ALineThatDoesNotExistIsCountedNotRecorded) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  recorder.edge({10, io::line_count, 1});
  recorder.edge({20, 14, 1});
  const RecordSummary summary = recorder.finish(100);
  EXPECT_EQ(summary.lost, 1U);
  EXPECT_EQ(summary.edges, 1U);
}

TEST(RecordRoundTrip, NothingIsTakenInAfterTheEnd) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  recorder.frame(numbered_frame(0));
  const RecordSummary first = recorder.finish(grid_ps);
  for (std::size_t k = 1; k < 10'000; ++k) recorder.frame(numbered_frame(k));  // must not block
  const RecordSummary second = recorder.finish(10 * grid_ps);
  EXPECT_EQ(second.frames, 1U);
  EXPECT_EQ(second.signals_sha256, first.signals_sha256);
  EXPECT_DOUBLE_EQ(RecordReader(folder.path()).end_s(), 50e-6);
}

TEST(RecordRoundTrip, ARecorderThatIsDroppedLeavesARecordCutShort) {
  const ScratchFolder folder;
  {
    Recorder recorder(folder.path(), header());
    for (std::size_t k = 0; k < 100; ++k) recorder.frame(numbered_frame(k));
  }
  const RecordReader reader(folder.path());
  EXPECT_FALSE(reader.finished());
  EXPECT_EQ(reader.frames(), 100U);
}

// Source of the form: IEEE 1364-2005, 18.2 (value change dump). The text is written out by hand.
TEST(GatesVcd, HoldsEveryEdgeInTheStandardsForm) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  recorder.edge({0, 0, 1});           // at the start: no time line of its own
  recorder.edge({99'999'999, 0, 0});  // below and above where leading digits are shared
  recorder.edge({100'000'000, 1, 1});
  recorder.edge({100'000'000, 6, 1});  // same time: one time line
  recorder.edge({712'300'000'042, 12, 0});
  recorder.finish(1'000'000'000'000);
  EXPECT_EQ(
      read(folder.path() / "gates.vcd"),
      "$comment Lines at the controller's connector. Gates: 1 is a switch commanded on. $end\n"
      "$timescale 1 ps $end\n"
      "$scope module connector $end\n"
      "$scope module gates $end\n"
      "$var wire 1 ! UH $end\n$var wire 1 \" UL $end\n$var wire 1 # VH $end\n"
      "$var wire 1 $ VL $end\n$var wire 1 % WH $end\n$var wire 1 & WL $end\n"
      "$upscope $end\n$scope module hall $end\n"
      "$var wire 1 ' U $end\n$var wire 1 ( V $end\n$var wire 1 ) W $end\n"
      "$upscope $end\n$scope module encoder $end\n"
      "$var wire 1 * A $end\n$var wire 1 + B $end\n$var wire 1 , Z $end\n"
      "$upscope $end\n"
      "$var wire 1 - key $end\n$var wire 1 . brake $end\n$var wire 1 / reverse $end\n"
      "$scope module angle $end\n"
      "$var wire 1 0 data $end\n$var wire 1 1 clock $end\n$var wire 1 2 select $end\n"
      "$upscope $end\n"
      "$scope module driver $end\n"
      "$var wire 1 3 fault $end\n$var wire 1 4 enable $end\n"
      "$upscope $end\n"
      "$var wire 1 5 contactor $end\n$var wire 1 6 brake_chopper $end\n"
      "$var wire 1 7 command_pulse $end\n"
      "$upscope $end\n$enddefinitions $end\n"
      "#0\n$dumpvars\n"
      "0!\n0\"\n0#\n0$\n0%\n0&\n0'\n1(\n0)\n0*\n0+\n0,\n1-\n0.\n0/"
      "\n00\n01\n02\n03\n04\n05\n06\n07\n$end\n"
      "1!\n#99999999\n0!\n#100000000\n1\"\n1'\n#712300000042\n0-\n#1000000000000\n");
}

TEST(RecordRoundTrip, IsReadByH5py) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), header());
  for (std::size_t k = 0; k < 1000; ++k) recorder.frame(numbered_frame(k));
  recorder.edge({123'456'789'012, 3, 1});
  recorder.mark(MarkKind::fault, 5, "hall_line_open", "U");
  recorder.finish(1000 * grid_ps);
  if (std::system("/usr/bin/python3 -c 'import h5py' 2>/dev/null") != 0) {
    GTEST_SKIP() << "/usr/bin/python3 has no h5py (package python3-h5py)";
  }
  const auto script = folder.path() / "look.py";
  std::ofstream(script) << R"(import h5py, sys
f = h5py.File(sys.argv[1], "r")
text = lambda a: a.decode() if isinstance(a, bytes) else str(a)
print(text(f.attrs["bench"]), f.attrs["pole_pairs"], f.attrs["finished"], f.attrs["format"])
s = f["signals/phase_current.V"]
print(s.shape, s.dtype, float(s[999]), text(s.attrs["unit"]), float(s.attrs["rate_Hz"]))
print(float(f["signals_least/torque"][1]), float(f["signals_greatest/torque"][1]))
e = f["edges/gates.VL"]
print(e.dtype.names, int(e["t_ps"][0]), int(e["level"][0]))
m = f["marks"]
kinds = h5py.check_enum_dtype(m.dtype["kind"])
print(kinds["fault"] == m["kind"][0], text(m["name"][0]), text(m["detail"][0]), len(f["signals"]))
)";
  const std::string command = "/usr/bin/python3 " + script.string() + " " +
                              (folder.path() / "record.h5").string() + " 2>&1";
  std::string output;
  FILE* pipe = popen(command.c_str(), "r");
  ASSERT_NE(pipe, nullptr);
  std::array<char, 256> line{};
  while (fgets(line.data(), line.size(), pipe) != nullptr) output += line.data();
  EXPECT_EQ(pclose(pipe), 0);
  // By hand from value_of(): frame 999, column 1; frame 1, columns 35 and 45.
  EXPECT_EQ(output,
            "Orchard cart 23 1 3\n"
            "(1000,) float32 63937.0 A 20000.0\n"
            "99.0 109.0\n"
            "('t_ps', 'level') 123456789012 1\n"
            "True hall_line_open U " +
                std::to_string(signal_count) + "\n");
}

}  // namespace
}  // namespace stillrotor
