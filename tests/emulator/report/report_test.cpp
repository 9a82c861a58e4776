// The page as a whole: what comes first, what is escaped, what is said where something is missing.
#include "emulator/report/report.hpp"

#include <gtest/gtest.h>

#include <fstream>

#include "emulator/judge/result.hpp"
#include "emulator/report/views.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;

constexpr const char* nasty = "<script>alert(1)</script>";

SyntheticRecord& run(SyntheticRecord& record) {
  record.signal(Signal::current_U, [](double t) { return 20.0 * std::sin(2.0 * pi * 50.0 * t); })
      .constant(Signal::bus_voltage, 48.0)
      .constant(Signal::speed, 2.0 * pi * 12.5)  // 50 Hz electrical
      .mark(MarkKind::action, 10 * ms, "throttle", "throttle 2.6 V over 300 ms")
      .mark(MarkKind::fault, 120 * ms, "hall_line_open", "U")
      .mark(MarkKind::text, 45 * ms, "controller", nasty)
      .mark(MarkKind::gap, 70 * ms, "lost edges", "gates.UH", 71 * ms);
  for (std::int64_t k = 0; k < 1000; ++k) record.pulse(0, k * 200 * us, k * 200 * us + 60 * us);
  return record;
}

void write(const std::filesystem::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

void judge_it(SyntheticRecord& record) {
  Scenario scenario;
  Limit peak;
  peak.measure = "phase_current_peak";
  peak.window = window(0.0, 0.05);
  peak.max = 10.0;
  peak.because = nasty;
  scenario.expect = {peak};
  const auto& read = record.read();
  ResultFacts facts;
  facts.clock = "virtual";
  facts.overrides = {std::string("bench=") + nasty};
  write_result(record.folder(), result_json(read, judge(read, scenario), facts));
}

/// The page itself is too long for a message.
bool has(const std::string& page, const std::string& text) {
  return page.find(text) != std::string::npos;
}

/// Every element that is opened is closed, in order.
void expect_well_formed(const std::string& page) {
  std::vector<std::string> open;
  for (std::size_t at = page.find('<'); at != std::string::npos; at = page.find('<', at + 1)) {
    const std::size_t end = page.find('>', at);
    ASSERT_NE(end, std::string::npos);
    const bool closes = page[at + 1] == '/';
    const std::size_t from = at + (closes ? 2 : 1);
    const std::string name = page.substr(from, page.find_first_of(" >/", from) - from);
    if (name == "!doctype" || name == "meta" || name == "link" || name == "br" ||
        page[end - 1] == '/')
      continue;
    if (!closes) {
      open.push_back(name);
      continue;
    }
    ASSERT_FALSE(open.empty()) << name;
    ASSERT_EQ(open.back(), name) << page.substr(at, 80);
    open.pop_back();
  }
  EXPECT_TRUE(open.empty()) << open.back();
}

TEST(Report, SaysTheVerdictAndItsReasonFirst) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  const std::string page = report_html(record.folder());
  expect_well_formed(page);
  const auto place = [&](const char* what) { return page.find(what); };
  ASSERT_NE(place("</h1>"), std::string::npos);
  EXPECT_TRUE(has(page,
                  "FAIL</h1>\n<p class=\"reason\">1 of 2 limits does not hold: "
                  "phase_current_peak was 20 A"));
  EXPECT_LT(place("<p class=\"reason\">"), place("<h2>Limits</h2>"));
  EXPECT_LT(place("<h2>Limits</h2>"), place("<svg"));
  EXPECT_LT(place("<svg"), place("What can be trusted"));
  EXPECT_LT(place("What can be trusted"), place("What was not tested"));
  for (const char* part :
       {"Phase currents", "Torque", "Speed", "Bus voltage", "Gates", "Spectrum of",
        "hall_line_open U at 120 ms", "lost edges gates.UH", "no leave to energise"})
    EXPECT_TRUE(has(page, part));
}

TEST(Report, ComesToTheSameTextAgain) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  EXPECT_EQ(report_html(record.folder()), report_html(record.folder()));
}

TEST(Report, LetsNothingFromFilesOrControllerBecomeMarkup) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  write(record.folder() / "bench.yaml", std::string("bench: ") + nasty + "\n");
  write(record.folder() / "run.json",
        R"({"started": "<b>", "host": {"cpu": "<b>", "kernel": "k"},
            "controller": {"health": "crashed", "diagnosis": "<b>at</b>"}})");
  const std::string page = report_html(record.folder());
  EXPECT_FALSE(has(page, "<script")) << "<script";
  EXPECT_FALSE(has(page, "<b>at")) << "<b>at";
  EXPECT_TRUE(has(page, "&lt;script&gt;alert(1)"));
  EXPECT_TRUE(has(page, "The controller crashed: &lt;b&gt;at"));
  expect_well_formed(page);
}

TEST(Report, NeedsNoNetwork) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  const std::string page = report_html(record.folder());
  for (const char* outside : {"http:", "https:", "//", "@import", "url("})
    EXPECT_FALSE(has(page, outside)) << outside;
}

TEST(Report, ShowsTheLoopsTimesOfARunOnTheWallClock) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  const std::string times = R"({"p50": 1.0, "p99": 2.0, "p99_9": 3.0, "p99_99": 4.0, "max": 55.5})";
  write(record.folder() / "run.json",
        R"({"started": "2026-01-01", "host": {"cpu": "c", "kernel": "k"},
            "controller": {"health": "running", "diagnosis": ""},
            "cycle": {"period_us": 200.0, "turns": 1000, "missed_periods": 2, "late_writes": 1,
                      "soft": true, "wake_late_us": )" +
            times + ", \"read_us\": " + times + ", \"plant_us\": " + times +
            ", \"write_us\": " + times + ", \"turn_us\": " + times + "}}");
  const std::string page = report_html(record.folder());
  EXPECT_TRUE(has(page, "a turn each 200 us, without the rights of a real-time loop"));
  EXPECT_TRUE(has(page, "1000 turns, 2 periods missed, 1 late writes."));
  EXPECT_TRUE(has(page,
                  "<th>woke late by</th><td>1.0</td><td>2.0</td><td>3.0</td>"
                  "<td>4.0</td><td>55.5</td>"));
}

TEST(Report, ShowsWhatTheFirmwareAskedOfItsProcessor) {
  SyntheticRecord record(0.2);
  judge_it(run(record));
  write(record.folder() / "run.json",
        R"({"started": "2026-01-01", "host": {"cpu": "c", "kernel": "k"},
            "controller": {"health": "running", "diagnosis": ""},
            "processor": {"cycles": 1000, "in_handlers": 250, "asleep": 700,
              "interrupts": [{"exception": 34, "handler": "<b>", "count": 4,
                "cycles": {"least": 50, "mean": 62.5, "most": 70, "sum": 250}}],
              "main_stack_bytes": {"seen": 64, "written": 400, "room": 1000}}})");
  const std::string page = report_html(record.folder());
  EXPECT_TRUE(has(page, "25.0 % of the cycles in handlers, 70.0 % asleep."));
  EXPECT_TRUE(has(page, "Main stack: 64 to 400 bytes of 1000 used."));
  EXPECT_TRUE(has(page,
                  "<th>exception 34</th><td>&lt;b&gt;</td><td>4</td><td>50</td>"
                  "<td>62.5</td><td>70</td><td>25.0 %</td>"));
  expect_well_formed(page);
}

TEST(Report, SaysThatARunWasCutShort) {
  SyntheticRecord record(0.2);
  run(record).cut_short();
  record.read();
  const std::string page = report_html(record.folder());
  EXPECT_TRUE(has(page, "The run was cut short: there is no verdict."));
  EXPECT_FALSE(has(page, "<h2>Limits</h2>")) << "<h2>Limits</h2>";
  EXPECT_TRUE(has(page, "<svg"));
  expect_well_formed(page);
}

TEST(Report, OfAnEmptyRecordIsStillAPage) {
  SyntheticRecord record(0.0);
  record.read();
  expect_well_formed(report_html(record.folder()));
}

TEST(Report, RefusesADamagedDocument) {
  SyntheticRecord record(0.05);
  run(record).read();
  write(record.folder() / "result.json", "{\"verdict\": ");
  EXPECT_THROW(report_html(record.folder()), std::runtime_error);
  EXPECT_THROW(report_html("/nowhere"), std::runtime_error);
}

TEST(Report, SaysWhatBecameDifferentAgainstAnotherRun) {
  SyntheticRecord record(0.2), before(0.2);
  judge_it(run(record));
  judge_it(run(before));
  Against against;
  against.name = nasty;
  against.run_folder = before.folder();
  against.comparison.verdicts = {"phase_current_peak was PASS and is FAIL"};
  for (int k = 0; k < 30; ++k) against.comparison.measures.push_back({30.0 - k, nasty});
  against.comparison.grounds = "No bands are known.";
  const std::string page = report_html(record.folder(), against);
  expect_well_formed(page);
  EXPECT_TRUE(has(page, "<h2>Against &lt;script&gt;alert(1)&lt;/script&gt;: different</h2>"));
  for (const char* part : {"<h3>Verdicts</h3>", "was PASS and is FAIL", "<li>and 10 more</li>",
                           "No bands are known.", "Both runs drawn over each other"})
    EXPECT_TRUE(has(page, part)) << part;
  EXPECT_FALSE(has(page, "<script")) << "<script";
  EXPECT_FALSE(has(report_html(record.folder()), "Against")) << "without another run";
}

// Three electrical periods of 50 Hz: 60 ms, a quarter of it before the fault.
TEST(CloseViews, StandAboutTheFault) {
  SyntheticRecord record(0.2);
  const auto views = close_views(run(record).read());
  ASSERT_EQ(views.size(), 1U);
  EXPECT_NEAR(views[0].span.from_s, 0.105, 1e-9);
  EXPECT_NEAR(views[0].span.to_s, 0.165, 1e-9);
}

// A limit that was broken where no fault shows it: about the largest current of its window, a
// quarter of the view before it; none is drawn twice. Closer: a tenth, about the same moment.
TEST(CloseViews, StandAboutBrokenLimitsToo) {
  SyntheticRecord record(2.0);
  record.constant(Signal::speed, 2.0 * pi * 12.5)
      .signal(Signal::current_U, [](double t_s) { return std::abs(t_s - 1.3) < 0.01 ? 50.0 : 1.0; })
      .mark(MarkKind::fault, 200 * ms, "hall_line_open", "U");
  const auto views = close_views(record.read(), {{"phase_current_peak", {0.5, 2.0}},
                                                 {"phase_current_rms", {1.0, 2.0}},
                                                 {"time_to_gates_off", {0.2, 2.0}}});
  ASSERT_EQ(views.size(), 2U);  // the second and the third are in sight already
  EXPECT_EQ(views[1].title.substr(0, 30), "FAIL: phase_current_peak, near");
  const double at_s = views[1].span.from_s + 0.25 * views[1].span.seconds();
  EXPECT_NEAR(at_s, 1.3, 0.0101 + 1.5 / 480);
  const View near = closer(views[1]);
  EXPECT_NEAR(near.span.seconds(), 0.1 * views[1].span.seconds(), 1e-9);
  EXPECT_NEAR(near.span.from_s + 0.25 * near.span.seconds(), at_s, 1e-9);
}

TEST(Spectra, AreOfAMachineAtWork) {
  SyntheticRecord record(2.0);
  record
      .signal(Signal::current_U,
              [](double t_s) { return t_s < 1.2 ? 20.0 * std::sin(2.0 * pi * 50.0 * t_s) : 0.0; })
      .mark(MarkKind::fault, 1200 * ms, "hall_line_open", "U");
  // 2^14 points of 50 us before the fault.
  EXPECT_TRUE(has(spectra(record.read()), "Spectrum of phase current U, 380.8 ms to 1.2 s"));
  SyntheticRecord still(1.0);
  EXPECT_EQ(spectra(still.read()), "");
}

TEST(CloseViews, ShowTheEndWhereNothingHappened) {
  SyntheticRecord record(0.3);
  record.constant(Signal::speed, 0.0);
  const auto views = close_views(record.read());
  ASSERT_EQ(views.size(), 1U);
  EXPECT_NEAR(views[0].span.to_s, 0.3, 1e-9);
  EXPECT_NEAR(views[0].span.seconds(), 0.25, 1e-9);
}

}  // namespace
}  // namespace stillrotor
