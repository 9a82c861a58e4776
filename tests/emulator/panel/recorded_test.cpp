// A finished run as a panel shows it, against what was recorded.
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "emulator/bench/input_error.hpp"
#include "emulator/panel/recorded_run.hpp"
#include "emulator/panel/run_shelf.hpp"
#include "emulator/record/recorder.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

constexpr std::int64_t points = 1'000'000;

/// A saw of 1000 points' length, with one point of 9999 in it: number 700,003.
float value_of(std::int64_t point) {
  return point == 700'003 ? 9'999.0F : static_cast<float>(point % 1'000);
}

struct PanelRecorded : testing::Test {
  fs::path runs = fs::path(testing::TempDir()) / ("stillrotor_shelf_" + std::to_string(getpid()));
  PanelRecorded() {
    fs::remove_all(runs);
    fs::create_directories(runs / "one");
    RecordHeader header;
    header.bench = "saw";
    header.rate_Hz = 20e3;
    Recorder recorder(runs / "one", header);
    Frame frame;
    for (std::int64_t k = 0; k < points; ++k) {
      frame.at_ps = (k + 1) * 50'000'000;
      frame.value.fill(value_of(k));
      recorder.frame(frame);
    }
    recorder.edge({25'000'000'000'000, 6, 1});
    recorder.mark(MarkKind::fault, 25'000'000'000'000, "hall_line_open", "U", 0);
    recorder.finish(points * 50'000'000);
  }
  ~PanelRecorded() override { fs::remove_all(runs); }
};

TEST_F(PanelRecorded, ShowsWhatWasRecordedNearAndFar) {
  RunShelf shelf(runs);
  const auto run = shelf.first();
  const ViewSource& source = run->source();
  ASSERT_EQ(source.points(), points);
  for (const std::int64_t length : {std::int64_t{10}, std::int64_t{30'000}, points}) {
    const std::int64_t from = std::min<std::int64_t>(699'990, points - length);
    std::vector<std::int64_t> bounds;
    for (int c = 0; c <= 10; ++c) bounds.push_back(from + length * c / 10);
    std::vector<Column> columns(10);
    source.columns(Signal::speed, bounds, columns);
    // From afar a column is of the whole bins of 64 points that it begins in.
    const std::int64_t bin = length > 400'000 ? 64 : 1;
    for (std::size_t c = 0; c < 10; ++c) {
      float least = 1e9F, greatest = -1e9F;
      const std::int64_t begin = bounds[c] / bin * bin;
      const std::int64_t end = std::max(bounds[c + 1] / bin * bin, begin + bin);
      for (std::int64_t k = begin; k < end; ++k) {
        least = std::min(least, value_of(k));
        greatest = std::max(greatest, value_of(k));
      }
      EXPECT_EQ(columns[c].least, least) << length << ' ' << c;
      EXPECT_EQ(columns[c].greatest, greatest) << length << ' ' << c;
      if (bin == 1) {
        EXPECT_EQ(columns[c].first, value_of(bounds[c]));
        EXPECT_EQ(columns[c].last, value_of(bounds[c + 1] - 1));
      }
    }
  }
  std::vector<float> raw(4);
  source.raw(Signal::speed, points - 2, raw);
  EXPECT_EQ(raw[0], value_of(points - 2));
  EXPECT_EQ(raw[1], value_of(points - 1));
  EXPECT_TRUE(std::isnan(raw[2]));
  std::array<std::uint8_t, 3> line{};
  source.line(6, 24.0, 0.9, line);
  EXPECT_EQ(line[0], line_column::was_low);
  EXPECT_EQ(line[1], line_column::was_low | line_column::was_high | line_column::ends_high);
  EXPECT_EQ(line[2], line_column::was_high | line_column::ends_high);
  EXPECT_EQ(run->marks().front().name, "hall_line_open");
}

TEST_F(PanelRecorded, TheShelfListsRunsAndRefusesWhatIsNone) {
  fs::create_directories(runs / "two");
  std::ofstream(runs / "two" / "record.h5") << "no record";
  RunShelf shelf(runs);
  EXPECT_EQ(shelf.list().size(), 2U);
  std::string why;
  EXPECT_EQ(shelf.open("two", why), nullptr);
  EXPECT_NE(why.find("two cannot be shown"), std::string::npos) << why;
  EXPECT_EQ(shelf.open("../one", why), nullptr);
  nlohmann::json moving;
  const auto run = shelf.first();
  EXPECT_EQ(run->welcome().at("run"), "one");
  EXPECT_EQ(run->state(moving).at("verdict"), nlohmann::json());
  EXPECT_FALSE(run->document("report.html"));
  EXPECT_THROW(RunShelf(runs / "nothing"), InputError);
  fs::create_directories(runs / "empty");
  EXPECT_THROW(RunShelf(runs / "empty"), InputError);
}

}  // namespace
}  // namespace stillrotor
