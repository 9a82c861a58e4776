// What was measured at the lines: written, read, held against the bench; what is refused and how.
#include "emulator/bench/line_calibration.hpp"

#include "emulator/bench/uncalibrated_bench.hpp"
#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::AllOf;
using testing::HasSubstr;

const char* const on_gpiod = R"(backend: gpiod
  calibration: lines.yaml
harness:
  lines:
    gates:
      UH: {name: UH}
      UL: {chip: gpiochip1, offset: 4}
      VH: {name: VH}
      VL: {name: VL}
      WH: {name: WH}
      WL: {name: WL}
    hall: {U: {name: HALL_U, drive: open_drain}}
cycle: {delay: 100 us}
)";

const char* const measured = R"(calibration: Small
date: 2026-11-26T05:00:00Z
kernel: Linux 6.1.0 aarch64
real_time: on
backend: gpiod
route: GPIO character device
limits:
  edges_in: 24000 /s
  more_not_sent: off
  stamp_jitter: 1.5 us
  write: 4 us
  loss: all_shown
skew:
  gates.UH: {by: hall.U, rise: 1.5 us, fall: 0.5 us, jitter: 1.2 us}
wires:
  gates.UH: UH
  gates.UL: gpiochip1 line 4
  gates.VH: VH
  gates.VL: VL
  gates.WH: WH
  gates.WL: WL
  hall.U: HALL_U
)";

class Calibrated : public testing::Test {
 protected:
  Bench load(const std::string& calibration, const std::string& controller = on_gpiod) {
    folder_.write("lines.yaml", calibration);
    const auto file = folder_.write(
        "b.yaml", replaced(small_bench, "backend: standin\n  kind: six_step\n", controller));
    return load_bench(file, {}, folder_.path() / "build");
  }
  std::string said(const std::string& from, const std::string& to) {
    return problems([&] { load(replaced(measured, from, to)); });
  }
  Folder folder_;
};

TEST_F(Calibrated, ABenchTakesItsLimitsAndItsSkew) {
  const Bench bench = load(measured);
  ASSERT_TRUE(bench.calibration);
  EXPECT_DOUBLE_EQ(bench.calibration->edges_in_per_s, 24'000.0);
  EXPECT_DOUBLE_EQ(bench.calibration->stamp_jitter_s, 1.5e-6);
  EXPECT_DOUBLE_EQ(bench.calibration->write_s, 4e-6);
  EXPECT_EQ(bench.calibration->loss, LossNotice::all_shown);
  EXPECT_DOUBLE_EQ(bench.cycle.gates.skew_s[0], 1e-6);  // the mean of rise and fall
  EXPECT_EQ(bench.cycle.gates.skew_s[1], 0.0);          // not measured
}

TEST_F(Calibrated, WhatTheBenchSaysItselfGoesBeforeIt) {
  const Bench bench = load(
      measured, replaced(on_gpiod, "delay: 100 us", "delay: 100 us, gates: {skew: {UH: 2 us}}"));
  EXPECT_DOUBLE_EQ(bench.cycle.gates.skew_s[0], 2e-6);
}

TEST_F(Calibrated, TheResolvedBenchLoadsWithIt) {
  const Bench bench = load(measured);
  const auto file = folder_.write("elsewhere/b.yaml", bench.resolved_yaml);
  const Bench again = load_bench(file, {}, folder_.path() / "build");
  EXPECT_EQ(again.calibration, bench.calibration);
  EXPECT_EQ(again.cycle.gates.skew_s, bench.cycle.gates.skew_s);
}

TEST_F(Calibrated, WhatIsWrittenReadsBack) {
  const Bench bench = load(measured);
  const auto file = folder_.write("again.yaml", calibration_yaml(*bench.calibration));
  EXPECT_EQ(read_calibration(file, "again.yaml"), *bench.calibration);
}

TEST_F(Calibrated, RefusesAnotherBackendAndOtherWires) {
  EXPECT_THAT(said("backend: gpiod", "backend: polled"),
              AllOf(HasSubstr("b.yaml:"), HasSubstr("measured with backend polled; allowed gpiod"),
                    HasSubstr("--calibrate")));
  EXPECT_THAT(said("gpiochip1 line 4", "gpiochip1 line 5"),
              HasSubstr("measured with gates.UL at gpiochip1 line 5; allowed gpiochip1 line 4"));
  EXPECT_THAT(said("  gates.WL: WL\n", ""), HasSubstr("measured without gates.WL"));
  EXPECT_THAT(said("  hall.U: HALL_U\n", "  hall.U: HALL_U\n  hall.V: HALL_V\n"),
              HasSubstr("measured with hall.V at HALL_V, which this bench does not have"));
}

TEST_F(Calibrated, ABenchThatIsAboutToBeMeasuredDoesNotNeedTheFile) {
  const auto file = folder_.write(
      "b.yaml", replaced(small_bench, "backend: standin\n  kind: six_step\n", on_gpiod));
  EXPECT_THAT(problems([&] { load_bench(file, {}, folder_.path() / "build"); }),
              HasSubstr("lines.yaml"));
  EXPECT_FALSE(load_uncalibrated_bench(file, {}, folder_.path() / "build").calibration);
}

TEST_F(Calibrated, RefusesValuesThatNoLineHas) {
  EXPECT_THAT(said("edges_in: 24000 /s", "edges_in: 3 /s"),
              AllOf(HasSubstr("lines.yaml:8:13: edges_in is 3 /s; allowed 100 /s to 1e9 /s"),
                    HasSubstr("Calibrate again")));
  EXPECT_THAT(said("write: 4 us", "write: -1 us"), HasSubstr("write is -1 us; allowed 1 ns"));
  EXPECT_THAT(said("write: 4 us", "write: 4"), HasSubstr("write: "));
  EXPECT_THAT(said("stamp_jitter: 1.5 us", "stamp_jitter: nan s"), HasSubstr("stamp_jitter"));
  EXPECT_THAT(said("rise: 1.5 us", "rise: 15 us"), HasSubstr("rise is 15 us; allowed -10 us"));
  EXPECT_THAT(said("loss: all_shown", "loss: some"), HasSubstr("loss is some; allowed"));
  EXPECT_THAT(said("by: hall.U", "by: gates.UL"), HasSubstr("no line that the bench drives"));
  EXPECT_THAT(said("skew:\n  gates.UH:", "skew:\n  hall.V:"),
              HasSubstr("hall.V is no line that the bench reads"));
}

TEST_F(Calibrated, RefusesAFileThatIsNotOne) {
  EXPECT_THAT(said("  write: 4 us\n", ""), HasSubstr("limits has no write"));
  EXPECT_THAT(said("route:", "rote:"), HasSubstr("Did you mean route?"));
  EXPECT_THAT(problems([&] { load("- 1\n"); }), HasSubstr("lines.yaml"));
  EXPECT_THAT(problems([&] { load("limits: 3\nskew: 3\nwires: 3\n"); }),
              HasSubstr("limits is no map"));
  EXPECT_THAT(problems([&] { load(measured, replaced(on_gpiod, "lines.yaml", "nowhere.yaml")); }),
              HasSubstr("nowhere.yaml"));
}

}  // namespace
}  // namespace stillrotor
