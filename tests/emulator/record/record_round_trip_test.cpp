// What goes into a recorder comes out of a reader, of h5py, and of the VCD.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <sstream>
#include <utility>
#include <vector>

#include "emulator/record/record_layout.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/record/vcd_export.hpp"
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
  EXPECT_EQ(second.signals_xxh128, first.signals_xxh128);
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

// Every value of a bin against the reader's own points, seen from afar; the last bin is cut.
TEST(RecordOverview, HoldsLeastAndGreatestOfItsPoints) {
  const ScratchFolder folder;
  RecordHeader compressed = header();
  compressed.keeping.compression = 1;
  Recorder recorder(folder.path(), compressed);
  constexpr std::size_t left_out = 1000;  // points 20,000 to 20,999 never come
  for (std::size_t k = 0; k < many_frames; ++k) {
    Frame frame = numbered_frame(k);
    frame.value[static_cast<std::size_t>(Signal::speed)] = static_cast<float>((k * 7919) % 10'007);
    if (k < 20'000 || k >= 20'000 + left_out) recorder.frame(frame);
  }
  recorder.finish(many_frames * grid_ps);
  const RecordReader reader(folder.path());
  ASSERT_EQ(reader.frames(), many_frames);
  const auto speed = reader.values(Signal::speed, 0, many_frames);
  const auto low = reader.least(Signal::torque, 0, many_frames);
  const auto high = reader.greatest(Signal::torque, 0, many_frames);
  std::size_t unknown = 0;
  for (const std::size_t points : layout::overview_points) {
    const std::size_t bins = (many_frames + points - 1) / points;
    const auto of_speed = reader.overview(Signal::speed, points, 0, 2 * bins);
    const auto of_torque = reader.overview(Signal::torque, points, 0, 2 * bins);
    ASSERT_EQ(of_speed.size(), bins);
    for (std::size_t bin = 0; bin < bins; ++bin) {
      float least = HUGE_VALF, greatest = -HUGE_VALF, torque_least = HUGE_VALF,
            torque_greatest = -HUGE_VALF;
      for (std::size_t k = bin * points; k < std::min(many_frames, (bin + 1) * points); ++k) {
        if (std::isnan(speed[k])) continue;
        least = std::min(least, speed[k]);
        greatest = std::max(greatest, speed[k]);
        torque_least = std::min(torque_least, low[k]);
        torque_greatest = std::max(torque_greatest, high[k]);
      }
      if (least > greatest) {
        ASSERT_TRUE(std::isnan(of_speed[bin].least) && std::isnan(of_speed[bin].greatest));
        ++unknown;
        continue;
      }
      ASSERT_EQ(of_speed[bin].least, least) << points << ' ' << bin;
      ASSERT_EQ(of_speed[bin].greatest, greatest);
      ASSERT_EQ(of_torque[bin].least, torque_least);
      ASSERT_EQ(of_torque[bin].greatest, torque_greatest);
    }
    EXPECT_TRUE(reader.overview(Signal::speed, points, bins, 1).empty());
  }
  EXPECT_EQ(unknown, 15U);  // whole bins of 64 in 20,000 .. 20,999: 313 .. 327
  EXPECT_EQ(speed[19'999], static_cast<float>((19'999 * 7919) % 10'007));
  EXPECT_TRUE(std::isnan(speed[20'000]) && std::isnan(speed[20'999]));
  EXPECT_EQ(speed[21'000], static_cast<float>((21'000 * 7919) % 10'007));
}

// 40 s, a fault at 20 s and the end: kept are 2 s before and 1 s after the one, 2 s before the
// other, in whole chunks of 0.8192 s. Edges on two lines: one that turns ten times a second, one
// that turns once, far from everything.
TEST(RecordAroundEvents, KeepsTheSecondsBeforeAndAfterEachAndNothingElse) {
  const ScratchFolder folder;
  RecordHeader around = header();
  around.keeping.around_events = true;
  Recorder recorder(folder.path(), around);
  constexpr std::size_t points = 800'000;
  for (std::size_t k = 0; k < points; ++k) {
    const auto at_ps = static_cast<std::int64_t>(k + 1) * grid_ps;
    if (k == 100'000) recorder.edge({at_ps, 4, 1});
    if (k % 2000 == 0) recorder.edge({at_ps, 0, k / 2000 % 2 == 0});
    if (k == 400'000) recorder.mark(MarkKind::fault, at_ps, "hall_line_open", "U");
    if (k % 100'000 == 7) recorder.mark(MarkKind::action, at_ps, "throttle", "");  // no event
    recorder.frame(numbered_frame(k));
  }
  const RecordSummary summary = recorder.finish(points * grid_ps);
  EXPECT_EQ(summary.frames, points);
  EXPECT_EQ(summary.lost_frames, 0U);  // it was not to be kept
  const RecordReader reader(folder.path());
  ASSERT_EQ(reader.frames(), points);
  const auto speed = reader.values(Signal::speed, 0, points);
  for (std::size_t k = 0; k < points; ++k) {
    const std::size_t chunk = k / 16'384;
    // 18 s to 21 s: points 360,000 to 420,000, chunks 21 to 25; from 38 s on: 46 to 48.
    const bool kept = (chunk >= 21 && chunk <= 25) || chunk >= 46;
    ASSERT_EQ(std::isnan(speed[k]), !kept) << k;
    if (kept) {
      ASSERT_EQ(speed[k], value_of(k, static_cast<std::size_t>(Signal::speed)));
    }
  }
  constexpr std::int64_t chunk_ps = 16'384 * grid_ps;
  std::vector<std::pair<std::int64_t, std::int64_t>> gaps;
  for (const RecordedMark& mark : reader.marks())
    if (mark.kind == MarkKind::gap) {
      EXPECT_EQ(mark.name, "not kept");
      gaps.emplace_back(mark.at_ps, mark.to_ps);
    }
  const std::vector<std::pair<std::int64_t, std::int64_t>> expected{{0, 21 * chunk_ps},
                                                                    {26 * chunk_ps, 46 * chunk_ps}};
  EXPECT_EQ(gaps, expected);
  // Inside: every edge. Outside: the last one of each gap, so that levels hold.
  std::vector<std::int64_t> wanted;
  for (std::int64_t k = 0; k < 800'000; k += 2000) {
    const std::int64_t at_ps = (k + 1) * grid_ps;
    const bool inside = std::any_of(expected.begin(), expected.end(), [&](const auto& gap) {
      return at_ps > gap.first && at_ps <= gap.second;
    });
    const bool last = k == 21 * 16'384 / 2000 * 2000 || k == 46 * 16'384 / 2000 * 2000;
    if (!inside || last) wanted.push_back(at_ps);
  }
  std::vector<std::int64_t> found;
  for (const RecordedEdge& edge : reader.edges(0)) {
    EXPECT_EQ(edge.level, edge.at_ps / grid_ps / 2000 % 2 == 0);
    found.push_back(edge.at_ps);
  }
  EXPECT_EQ(found, wanted);
  ASSERT_EQ(reader.edges(4).size(), 1U);
  // From afar all of it is there, and the sum is over all of it.
  const auto far = reader.overview(Signal::speed, 4096, 10, 1);
  EXPECT_EQ(far[0].greatest, value_of(11 * 4096 - 1, static_cast<std::size_t>(Signal::speed)));
  const ScratchFolder other;
  Recorder whole(other.path(), header());
  for (std::size_t k = 0; k < points; ++k) {
    const auto at_ps = static_cast<std::int64_t>(k + 1) * grid_ps;
    if (k == 100'000) whole.edge({at_ps, 4, 1});
    if (k % 2000 == 0) whole.edge({at_ps, 0, k / 2000 % 2 == 0});
    whole.frame(numbered_frame(k));
  }
  EXPECT_EQ(whole.finish(points * grid_ps).signals_xxh128, summary.signals_xxh128);
  EXPECT_LT(std::filesystem::file_size(folder.path() / "record.h5"),
            std::filesystem::file_size(other.path() / "record.h5") / 4);
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
  export_vcd(RecordReader(folder.path()), folder.path() / "gates.vcd");
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
      "$var wire 1 7 command_pulse $end\n$var wire 1 8 speed_limit $end\n"
      "$var wire 1 9 lamp $end\n"
      "$upscope $end\n$enddefinitions $end\n"
      "#0\n$dumpvars\n"
      "0!\n0\"\n0#\n0$\n0%\n0&\n0'\n1(\n0)\n0*\n0+\n0,\n1-\n0.\n0/"
      "\n00\n01\n02\n03\n04\n05\n06\n07\n08\n09\n$end\n"
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
            "Orchard cart 23 1 5\n"
            "(1000,) float32 63937.0 A 20000.0\n"
            "99.0 109.0\n"
            "('t_ps', 'level') 123456789012 1\n"
            "True hall_line_open U " +
                std::to_string(signal_count) + "\n");
}

}  // namespace
}  // namespace stillrotor
