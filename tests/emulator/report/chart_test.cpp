// Axes, curves and texts of a drawing.
#include "emulator/report/chart.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/report/ticks.hpp"

namespace stillrotor {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

TEST(Ticks, AreRoundAndInside) {
  EXPECT_THAT(ticks(0.0, 10.0, 5), ElementsAre(0.0, 2.0, 4.0, 6.0, 8.0, 10.0));
  EXPECT_THAT(ticks(-1.3, 1.2, 5), ElementsAre(-1.0, -0.5, 0.0, 0.5, 1.0));
  EXPECT_THAT(ticks(1e-3, 3e-3, 4), testing::SizeIs(5));
  EXPECT_THAT(ticks(5.0, 5.0, 4), IsEmpty());
  EXPECT_THAT(ticks(0.0, HUGE_VAL, 4), IsEmpty());
}

Chart one_curve() {
  Chart chart{"Speed <i>", {"time", "s", 0.0, 2.0}, {"", "rpm", 0.0, 100.0}, {}, {}};
  chart.curves.push_back({"shaft", {0.0, 1.0, 2.0}, {0.0, 50.0, 100.0}, {0.0, 50.0, 100.0}});
  chart.marks.push_back({1.0, "hall_line_open \"U\"", true});
  chart.marks.push_back({3.0, "outside", false});
  return chart;
}

// By hand: the plot reaches from x 88 to 952 and from y 158 (0) to 8 (100).
TEST(ChartSvg, PutsValuesWhereTheAxesSay) {
  const std::string text = svg(one_curve());
  EXPECT_THAT(text, HasSubstr("d=\"M88.0 158.0L520.0 83.0L952.0 8.0\""));
  EXPECT_THAT(text, HasSubstr("class=\"fault\" d=\"M520.0 8V158\""));
  EXPECT_THAT(text, Not(HasSubstr("outside")));
}

// By hand: 88 + 400 + 8 wide; 2 s over 400 units each way once both axes are 100 long.
TEST(ChartSvg, DrawsAPlaneAtOneScale) {
  Chart chart = one_curve();
  chart.square = chart.flags = true;
  equal_scale(chart.x, chart.y);
  EXPECT_EQ(chart.x.low, -49.0);
  EXPECT_EQ(chart.x.high, 51.0);
  const std::string text = svg(chart);
  EXPECT_THAT(text, HasSubstr("<figure class=\"square\">"));
  EXPECT_THAT(text, HasSubstr("d=\"M284.0 408.0L288.0 208.0L292.0 8.0\""));
  EXPECT_THAT(text, HasSubstr("class=\"flag\">hall_line_open &quot;U&quot;</text>"));
}

TEST(ChartSvg, EscapesEveryText) {
  const std::string text = svg(one_curve());
  EXPECT_THAT(text, HasSubstr("Speed &lt;i&gt;"));
  EXPECT_THAT(text, HasSubstr("hall_line_open &quot;U&quot;"));
  EXPECT_THAT(text, Not(HasSubstr("<i>")));
}

TEST(ChartSvg, BandsCloseAndHolesStayOpen) {
  Chart chart = one_curve();
  const double nothing = std::nan("");
  chart.curves = {
      {"band", {0.0, 1.0, 1.5, 2.0}, {0.0, 0.0, nothing, 0.0}, {100.0, 100.0, nothing, 100.0}}};
  EXPECT_THAT(svg(chart), HasSubstr("d=\"M88.0 8.0L520.0 8.0L520.0 158.0L88.0 158.0Z"
                                    "M952.0 8.0L952.0 158.0Z\""));
}

TEST(Fitted, HoldsTheCurvesAndANearZero) {
  const std::vector<Curve> near = {{"", {0, 1}, {10.0, 12.0}, {30.0, 40.0}}};
  EXPECT_LT(fitted({}, near).low, 0.0);
  EXPECT_GT(fitted({}, near).high, 40.0);
  const std::vector<Curve> far = {{"", {0, 1}, {48.0, 48.5}, {48.0, 48.5}}};
  EXPECT_GT(fitted({}, far).low, 47.0);
  const std::vector<Curve> flat = {{"", {0, 1}, {0.0, 0.0}, {0.0, 0.0}}};
  EXPECT_LT(fitted({}, flat).low, fitted({}, flat).high);
  EXPECT_LT(fitted({}, {}).low, fitted({}, {}).high);
}

TEST(TraceSvg, ShowsSwitchingAsABlock) {
  using enum LineColumn;
  const TraceChart chart{"Gates", {"time", "s", 0.0, 1.0}, {{"UH", {low, both, high, high}}}, {}};
  const std::string text = svg(chart);
  EXPECT_THAT(text, HasSubstr("class=\"busy\" d=\"M304.0 27.0H520.0V11.0H304.0Z\""));
  EXPECT_THAT(text, HasSubstr("d=\"M88.0 27.0H304.0M520.0 11.0H952.0\""));
}

}  // namespace
}  // namespace stillrotor
