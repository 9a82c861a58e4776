// Measured tables of a magnet machine: read, refused with file and line.
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using testing::AllOf;
using testing::HasSubstr;

/// A grid of a machine without saturation: 12 mWb, 100 uH and 200 uH; rows in any order.
std::string straight_map(int least_q,
                         const std::string& title = "i_d [A], i_q [A], psi_d [mWb], psi_q [mWb]") {
  std::string text = "# invented\n" + title + "\n";
  for (int d = 40; d >= -40; d -= 20)
    for (int q = least_q; q <= 40; q += 20)
      text += fmt::format("{}, {}, {}, {}\n", d, q, 12.0 + 0.1 * d, 0.2 * q);
  return text;
}

const std::string mapped_bench =
    test::replaced(test::replaced(test::small_bench, "  inductance_d: 150 uH\n", ""),
                   "  flux_linkage: 12 mWb\n", "  flux_map: {file: map.csv}\n");

std::string said(const Folder& folder, const std::string& bench) {
  const auto file = folder.write("bench.yaml", bench);
  return test::problems([&] { load_bench(file, {}, "/none"); });
}

TEST(FluxMapFile, StandsForInductancesAndFluxLinkage) {
  const Folder folder;
  folder.write("map.csv", straight_map(-40));
  const Bench bench = load_bench(folder.write("bench.yaml", mapped_bench), {}, "/none");
  const auto& machine = bench.drive.machine;
  ASSERT_EQ(machine.flux_map.psi_d_Wb.size(), 25U);
  EXPECT_NEAR(machine.flux_linkage_Wb, 12e-3, 1e-15);
  EXPECT_NEAR(machine.inductance_d_H, 100e-6, 1e-15);
  EXPECT_NEAR(machine.inductance_q_H, 200e-6, 1e-15);
  const auto resolved = folder.write("elsewhere/resolved.yaml", bench.resolved_yaml);
  test::expect_same_bench(bench, load_bench(resolved, {}, "/none"));
}

TEST(FluxMapFile, HalfAMapIsMirrored) {
  const Folder folder;
  folder.write("map.csv", straight_map(0));
  const auto& map =
      load_bench(folder.write("bench.yaml", mapped_bench), {}, "/none").drive.machine.flux_map;
  EXPECT_EQ(map.i_q_A, (std::vector<double>{-40.0, -20.0, 0.0, 20.0, 40.0}));
  EXPECT_NEAR(map.psi_q_Wb[0], -8e-3, 1e-15);
  EXPECT_NEAR(map.psi_d_Wb[0], 8e-3, 1e-15);
}

// 12 mWb at 0.2 nH: a lost prefix.
TEST(FluxMapFile, OneThatAsksForEndlessStepsIsRefused) {
  const Folder folder;
  std::string map = "i_d [A], i_q [A], psi_d [mWb], psi_q [mWb]\n";
  for (int d = -40; d <= 40; d += 20)
    for (int q = -40; q <= 40; q += 20)
      map += fmt::format("{}, {}, {:.7f}, {:.7f}\n", d, q, 12.0 + 1e-6 * d, 2e-7 * q);
  folder.write("map.csv", map);
  EXPECT_THAT(
      said(folder, mapped_bench),
      AllOf(HasSubstr("machine.flux_map.file (its least incremental inductance) is 2e-10 H"),
            HasSubstr("H or more, which makes it 20 ns")));
}

TEST(FluxMapFile, RefusalsNameTheLine) {
  const Folder folder;
  const auto refused = [&](const std::string& map) {
    folder.write("map.csv", map);
    return said(folder, mapped_bench);
  };
  const std::string good = straight_map(-40);
  EXPECT_EQ(refused(good), "");
  EXPECT_THAT(refused(test::replaced(good, "40, -40, 16, -8", "40, -40, 16, x")),
              HasSubstr("map.csv:3:1: psi_q is \"x\"; due are numbers"));
  EXPECT_THAT(refused(test::replaced(good, "40, -20, 16, -4", "40, -20, 16")),
              HasSubstr("map.csv:4:1: 3 values under 4 titles"));
  EXPECT_THAT(refused(test::replaced(good, "40, -20, 16, -4", "40, -40, 16, -8")),
              HasSubstr("map.csv:4:1: i_d 40 A, i_q -40 A stand already in line 3"));
  EXPECT_THAT(refused(test::replaced(good, "40, -20, 16, -4\n", "")),
              HasSubstr("there is no row for i_d 40 A, i_q -20 A"));
  EXPECT_THAT(refused(straight_map(-40, "i_d [A], i_q [A], psi_d [mH], psi_q [mWb]")),
              AllOf(HasSubstr("map.csv:2:1: the column psi_d:"), HasSubstr("is an inductance")));
  EXPECT_THAT(refused(straight_map(-40, "i_d, i_q [A], psi_d [mWb], psi_q [mWb]")),
              HasSubstr("map.csv:2:1: the column i_d has no unit"));
  EXPECT_THAT(refused(straight_map(-40, "i_d [A], i_Q [A], psi_d [mWb], psi_q [mWb]")),
              HasSubstr("map.csv:2:1: there is no column i_q"));
  // 6 mWb too much in the middle: refused by the map, at that line or beside it.
  EXPECT_THAT(refused(test::replaced(good, "0, 0, 12, 0", "0, 0, 18, 0")),
              AllOf(HasSubstr("map.csv:"), HasSubstr("machine.flux_map: in the cell from")));
  EXPECT_THAT(refused(""), HasSubstr("there are no numbers in it"));
  EXPECT_THAT(said(folder, test::replaced(mapped_bench, "map.csv", "none.csv")),
              AllOf(HasSubstr("bench.yaml:5:"), HasSubstr("none.csv: there is no such file")));
}

TEST(FluxMapFile, SayingTheSameThingTwiceIsRefused) {
  const Folder folder;
  folder.write("map.csv", straight_map(-40));
  EXPECT_THAT(
      said(folder, test::replaced(mapped_bench, "  flux_map", "  inductance_q: 1 mH\n  flux_map")),
      HasSubstr("machine.inductance_q and machine.flux_map.file"));
  EXPECT_THAT(said(folder, test::replaced(mapped_bench, "  flux_map: {file: map.csv}\n",
                                          "  flux_linkage: 12 mWb\n")),
              HasSubstr("machine.inductance_d is missing"));
}

constexpr double deg = std::numbers::pi / 180.0;

std::string emf_bench(const std::string& more = "") {
  return test::replaced(test::replaced(test::small_bench, "  flux_linkage: 12 mWb\n", more),
                        "supply:", "  back_emf: {shape: table, file: emf.csv}\nsupply:");
}

/// e = 1.2 V s/rad (sin x + 0.1 sin 5x + even sin 2x), x counted from 30 degrees before the zero.
std::string emf_table(const std::string& unit, double even = 0.0, int points = 120) {
  std::string text = "angle [deg], back_emf [" + unit + "]\n";
  for (int k = 0; k < points; ++k) {
    const double angle = 360.0 * k / points, x = (angle - 30.0) * deg;
    text += fmt::format("{}, {}\n", angle,
                        1.2 * (std::sin(x) + 0.1 * std::sin(5 * x) + even * std::sin(2 * x)));
  }
  return text;
}

// By hand: the fundamental 1.2 V s/rad over 4 pole pairs is 0.3 Wb; the fifth order is a tenth.
// Tolerance: the table's digits.
TEST(BackEmfFile, GivesShapeAndSize) {
  const Folder folder;
  folder.write("emf.csv", emf_table("V s/rad"));
  const Bench bench = load_bench(folder.write("bench.yaml", emf_bench()), {}, "/none");
  const auto& machine = bench.drive.machine;
  EXPECT_NEAR(machine.flux_linkage_Wb, 0.3, 1e-9);
  ASSERT_EQ(machine.back_emf.size(), 2U);
  EXPECT_EQ(machine.back_emf[1].order, 5);
  EXPECT_NEAR(machine.back_emf[1].ratio, 0.1, 1e-9);
  const auto resolved = folder.write("elsewhere/resolved.yaml", bench.resolved_yaml);
  test::expect_same_bench(bench, load_bench(resolved, {}, "/none"));
}

TEST(BackEmfFile, WithoutScaleTheFluxComesFromElsewhere) {
  const Folder folder;
  folder.write("emf.csv", emf_table(""));
  EXPECT_THAT(said(folder, emf_bench()), HasSubstr("machine.flux_linkage is missing"));
  EXPECT_EQ(
      load_bench(folder.write("bench.yaml", emf_bench("  flux_linkage: 5 mWb\n")), {}, "/none")
          .drive.machine.flux_linkage_Wb,
      5e-3);
}

TEST(BackEmfFile, EvenOrdersAreRefusedWithTheirSize) {
  const Folder folder;
  folder.write("emf.csv", emf_table("V s/rad", 0.05));
  EXPECT_THAT(said(folder, emf_bench()), AllOf(HasSubstr("even order (order 2)"),
                                               HasSubstr("5.0 % of its fundamental; allowed 2 %")));
  folder.write("emf.csv", emf_table("V s/rad", 0.01));
  const Bench bench = load_bench(folder.write("bench.yaml", emf_bench()), {}, "/none");
  EXPECT_NEAR(bench.back_emf_left_out, 0.01, 1e-9);
}

TEST(BackEmfFile, UnevenAnglesAreRefusedAtTheirLine) {
  const Folder folder;
  folder.write("emf.csv", test::replaced(emf_table("V s/rad"), "\n15, ", "\n16, "));
  EXPECT_THAT(said(folder, emf_bench()),
              HasSubstr("emf.csv:7:1: the angle is 16 deg after 12 deg"));
  folder.write("emf.csv", test::replaced(emf_table("V s/rad"), "angle [deg]", "angle [V]"));
  EXPECT_THAT(said(folder, emf_bench()), HasSubstr("the column angle:"));
  EXPECT_THAT(said(folder, test::replaced(emf_bench(), ", file: emf.csv", "")),
              HasSubstr("machine.back_emf.file is missing; shape: table needs it"));
}

std::string cogging_bench(const std::string& cogging) {
  return test::replaced(test::small_bench, "supply:", "  cogging: {" + cogging + "}\nsupply:");
}

// 24 periods a turn, tabled over a sixth of a turn: order 4 of the table is order 24 of the turn.
TEST(CoggingFile, OfAPartOfATurnAndHarmonicsAgree) {
  const Folder folder;
  std::string text = "angle [deg], torque [N m]\n";
  for (int k = 0; k <= 60; ++k)
    text += fmt::format("{}, {}\n", k, 0.05 * std::sin((24 * k + 30) * deg));
  folder.write("cogging.csv", text);
  const Bench table =
      load_bench(folder.write("a.yaml", cogging_bench("file: cogging.csv")), {}, "/none");
  const Bench pairs = load_bench(
      folder.write("b.yaml", cogging_bench("harmonics: {24: 50 mN m at 30 deg}")), {}, "/none");
  ASSERT_EQ(table.drive.machine.cogging.size(), 1U);
  ASSERT_EQ(pairs.drive.machine.cogging.size(), 1U);
  EXPECT_EQ(table.drive.machine.cogging[0].order, 24);
  EXPECT_EQ(pairs.drive.machine.cogging[0].order, 24);
  EXPECT_NEAR(table.drive.machine.cogging[0].amplitude_Nm, 0.05, 1e-12);
  EXPECT_EQ(pairs.drive.machine.cogging[0].amplitude_Nm, 0.05);
  EXPECT_NEAR(table.drive.machine.cogging[0].phase_rad, 30.0 * deg, 1e-9);
  EXPECT_NEAR(pairs.drive.machine.cogging[0].phase_rad, 30.0 * deg, 1e-12);
}

TEST(CoggingFile, FrictionAndNonsenseAreRefused) {
  const Folder folder;
  std::string text = "angle [deg], torque [N m]\n";
  for (int k = 0; k < 360; ++k)
    text += fmt::format("{}, {}\n", k, 0.02 + 0.05 * std::sin(24 * k * deg));
  folder.write("cogging.csv", text);
  EXPECT_THAT(said(folder, cogging_bench("file: cogging.csv")),
              HasSubstr("the mean torque is 0.02 N m"));
  EXPECT_THAT(said(folder, cogging_bench("harmonics: {0: 1 N m}")),
              HasSubstr("is no pair of an order"));
  EXPECT_THAT(said(folder, cogging_bench("harmonics: {24: 1 V}")), HasSubstr("order 24"));
}

TEST(MachineCondition, TheKneeIsAStraightLineOverTemperature) {
  const Folder folder;
  const auto bench = [&](const std::string& more) {
    return test::replaced(test::small_bench,
                          "supply:", "  demagnetisation: {" + more + "}\nsupply:");
  };
  const Bench good = load_bench(
      folder.write(
          "bench.yaml",
          bench(
              "knee: -150 A, hot_knee: -50 A, hot_temperature: 120 degC, lose_all_within: 300 A")),
      {}, "/none");
  EXPECT_TRUE(good.drive.machine.demagnetisation.possible);
  EXPECT_NEAR(good.drive.machine.demagnetisation.knee_per_K_A, 1.0, 1e-12);  // 100 A over 100 K
  EXPECT_THAT(said(folder, bench("knee: -50 A, hot_knee: -150 A")),
              HasSubstr("machine.demagnetisation.hot_knee is -150 A"));
  EXPECT_THAT(said(folder, bench("lose_all_within: 300 A")),
              HasSubstr("needs machine.demagnetisation.knee"));
  EXPECT_THAT(said(folder, bench("knee: 5 A")), HasSubstr("allowed -10000 A to -0.1 A"));
}

// By hand: at 50 degC halfway from -150 to -140 A; 20 degC, the reference, is the first pair.
TEST(MachineCondition, TheKneeIsATableOverTemperature) {
  const Folder folder;
  const auto bench = [&](const std::string& more) {
    return test::replaced(test::small_bench,
                          "supply:", "  demagnetisation: {" + more + "}\nsupply:");
  };
  const auto table = [&](const std::string& pairs) {
    return bench("knee_over_temperature: {" + pairs + "}");
  };
  const Bench good = load_bench(
      folder.write("bench.yaml", table("20 degC: -150 A, 80 degC: -140 A, 120 degC: 5 A")), {},
      "/none");
  const auto& lost = good.drive.machine.demagnetisation;
  EXPECT_TRUE(lost.possible);
  EXPECT_EQ(lost.lose_all_within_A, 150.0);
  ASSERT_EQ(lost.knee_over_temperature.size(), 3U);
  EXPECT_NEAR(lost.knee_at(273.15 + 50.0, 293.15), -145.0, 1e-9);
  EXPECT_THAT(said(folder, table("80 degC: -140 A, 20 degC: -150 A")), HasSubstr("does not rise"));
  EXPECT_THAT(said(folder, table("")), HasSubstr("knee_over_temperature"));
  EXPECT_THAT(said(folder, table("20 degC: 5 A")), HasSubstr("5 A at the reference temperature"));
  EXPECT_THAT(said(folder, table("20 degC: -5 A, 90 degC: 1 MA")), HasSubstr("1e+06 A; allowed"));
  EXPECT_THAT(said(folder, table("20 V: -5 A")), HasSubstr("knee_over_temperature"));
  EXPECT_THAT(said(folder, bench("knee: -5 A, knee_over_temperature: {20 degC: -5 A}")),
              HasSubstr("machine.demagnetisation.knee says again"));
}

}  // namespace
}  // namespace stillrotor
