// The resolved file says everything and loads to the same bench.
#include <regex>

#include "emulator/bench/parameter_table.hpp"
#include "emulator/bench/yaml_tree.hpp"
#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using test::elf_start;
using test::expect_same_bench;
using test::Folder;
using test::mcu_bench;
using test::replaced;
using test::small_bench;

void loads_to_the_same(const Folder& folder, const std::string& text,
                       const std::vector<std::string>& overrides = {}) {
  const auto build = folder.path() / "build";
  const Bench first = load_bench(folder.write("b.yaml", text), overrides, build);
  // In another folder, without the build folder, and in a second generation.
  const Bench second = load_bench(folder.write("run/bench.yaml", first.resolved_yaml), {}, "/none");
  expect_same_bench(first, second);
  EXPECT_EQ(first.resolved_yaml, second.resolved_yaml);
}

TEST(ResolvedBench, ASmallOneLoadsToTheSame) { loads_to_the_same(Folder(), small_bench); }

TEST(ResolvedBench, OverridesAreInIt) {
  const Folder folder;
  loads_to_the_same(folder, small_bench, {"machine.winding_resistance=70 mohm"});
  const Bench bench = load_bench(folder.path() / "run/bench.yaml", {}, "/none");
  EXPECT_EQ(bench.drive.machine.winding_resistance_ohm, 0.07);
}

TEST(ResolvedBench, ASpeedConstantStaysTheOneThatWasGiven) {
  loads_to_the_same(Folder(), replaced(small_bench, "flux_linkage: 12 mWb",
                                       "speed_constant: 8.7 V/krpm\n  back_emf: trapezoid"));
}

TEST(ResolvedBench, HarmonicsOddNamesAndFieldOrientedBeliefsLoadToTheSame) {
  std::string text = replaced(small_bench, "flux_linkage: 12 mWb",
                              "flux_linkage: 12 mWb\n  back_emf: {shape: harmonics, harmonics: "
                              "{5: 0.04, 7: -2 %}}");
  text = replaced(text, "bench: Small", "bench: \"A \\\"small\\\" one: # \u00fc\"");
  text =
      replaced(text, "sensors:\n",
               "sensors:\n  encoder: {lines: 512}\n  phase_current: {kind: in_line, sensitivity: "
               "20 mV/A}\n");
  text = replaced(text, "kind: six_step", "kind: field_oriented\n  belief: {pole_pairs: 5}");
  loads_to_the_same(Folder(), text);
}

TEST(ResolvedBench, VoltsPerHertzLoadsToTheSame) {
  std::string text = replaced(small_bench, "sensors:\n",
                              "sensors:\n  phase_current: {kind: low_side_shunt, shunt: 1 mohm, "
                              "gain: 20}\n");
  text = replaced(text, "kind: six_step",
                  "kind: volts_per_hertz\n  base_voltage: 28 V\n  deceleration_ramp: 12 Hz/s");
  loads_to_the_same(Folder(), text);
  const Folder folder;
  const Bench bench = load_bench(folder.write("b.yaml", text), {}, "/none");
  const auto& controller = std::get<io::VoltsPerHertzConfig>(bench.controller);
  EXPECT_EQ(controller.deceleration_Hz_per_s, 12.0);
  EXPECT_EQ(controller.top_frequency_Hz, 50.0);             // base_frequency's default
  EXPECT_DOUBLE_EQ(controller.boost_voltage_V, 0.05 * 28);  // 5 % of base_voltage
}

/// The small bench with a cage in the magnets' place, up to the magnetising branch.
std::string cage_bench(const std::string& branch) {
  std::string text = small_bench;
  const std::size_t from = text.find("machine:"), to = text.find("supply:");
  text.replace(from, to - from,
               "machine:\n  kind: induction\n  pole_pairs: 2\n  stator_resistance: 1.9 ohm\n"
               "  stator_leakage: 6 mH\n  rotor_resistance: 1.5 ohm\n" +
                   branch);
  text = replaced(text, "sensors:\n",
                  "sensors:\n  phase_current: {kind: low_side_shunt, shunt: 1 mohm, gain: 20}\n");
  return replaced(text, "kind: six_step", "kind: volts_per_hertz\n  base_voltage: 28 V");
}

// A lost prefix would make a run of days.
TEST(CageBench, OneThatAsksForEndlessStepsIsRefused) {
  const Folder folder;
  const auto file = folder.write(
      "b.yaml", replaced(cage_bench("  magnetising_inductance: 120 mH\n"), "6 mH", "6 nH"));
  EXPECT_THAT(test::problems([&] { load_bench(file, {}, "/none"); }),
              ::testing::HasSubstr("machine.stator_leakage is 6e-09 H"));
}

TEST(ResolvedBench, AnInductionMachineLoadsToTheSame) {
  loads_to_the_same(Folder(), cage_bench("  magnetising_inductance: 120 mH\n"));
  loads_to_the_same(Folder(),
                    cage_bench("  magnetising_curve: {1 A: 190 mWb, 3 A: 0.5 Wb, 9 A: 0.7 Wb}\n"));
  const Folder folder;
  const Bench bench = load_bench(
      folder.write("b.yaml", cage_bench("  magnetising_inductance: 120 mH\n")), {}, "/none");
  ASSERT_TRUE(bench.drive.induction.has_value());
  EXPECT_EQ(bench.drive.induction->pole_pairs, 2);
  EXPECT_EQ(bench.drive.induction->rotor_leakage_H, 6e-3);  // as the stator's
}

TEST(ResolvedBench, AnInductionMachineIsRefusedWithWhatIsWrong) {
  const auto said = [](const std::string& text) -> std::string {
    const Folder folder;
    try {
      load_bench(folder.write("b.yaml", text), {}, "/none");
    } catch (const InputError& e) {
      return e.what();
    }
    return "nothing";
  };
  using testing::HasSubstr;
  const std::string straight = "  magnetising_inductance: 120 mH\n";
  EXPECT_THAT(said(cage_bench("")), HasSubstr("are both missing"));
  EXPECT_THAT(said(cage_bench(straight + "  magnetising_curve: {1 A: 0.2 Wb, 2 A: 0.3 Wb}\n")),
              HasSubstr("are both given"));
  EXPECT_THAT(said(cage_bench("  magnetising_curve: {1 A: 0.2 Wb, 2 A: 0.1 Wb}\n")),
              HasSubstr("entry 2"));
  EXPECT_THAT(said(cage_bench("  magnetising_curve: {1 A: 0.2 V, 2 A: 0.3 Wb}\n")),
              HasSubstr("Write it as {3 A: 0.3 Wb, 7 A: 0.5 Wb}"));
  EXPECT_THAT(
      said(cage_bench(straight + "  inductance_d: 1 mH\n")),
      HasSubstr("does not apply to machine kind induction; it belongs to permanent_magnet"));
  EXPECT_THAT(
      said(replaced(cage_bench(straight), "volts_per_hertz\n  base_voltage: 28 V", "six_step")),
      HasSubstr("Choose volts_per_hertz"));
}

TEST(ResolvedBench, AFirmwareBenchFindsItsFirmwareFromAnywhere) {
  const Folder folder;
  folder.write("firmware.elf", elf_start);
  loads_to_the_same(folder, mcu_bench);
}

/// What no rigid cart has.
bool of_another_load(const std::string& path) {
  for (const char* other : {"load.static_torque", "load.power_floor", "load.spring.", "load.tyre.",
                            "load.dynamometer."})
    if (path.starts_with(other)) return true;
  return false;
}

TEST(ResolvedBench, EveryParameterThatAppliesStandsInIt) {
  const Folder folder;
  const Bench bench = load_bench(folder.write("b.yaml", small_bench), {}, "/none");
  const YamlNode root = parse_yaml(bench.resolved_yaml, "resolved");
  for (const Parameter& parameter : parameter_table()) {
    if ((parameter.roles & role::six_step) == 0 || parameter.need == Need::optional ||
        of_another_load(parameter.path))
      continue;
    const YamlNode* at = &root;
    for (std::string rest = parameter.path; at != nullptr && !rest.empty();) {
      const std::size_t dot = rest.find('.');
      at = at->find(rest.substr(0, dot));
      rest = dot == std::string::npos ? "" : rest.substr(dot + 1);
    }
    EXPECT_NE(at, nullptr) << parameter.path;
  }
}

TEST(ParameterTable, EveryRowIsCompleteAndItsDefaultIsAllowed) {
  std::vector<std::string> seen;
  for (const Parameter& parameter : parameter_table()) {
    EXPECT_TRUE(std::regex_match(parameter.path, std::regex("[a-zA-Z_]+(\\.[a-zA-Z_]+)*")))
        << parameter.path;
    EXPECT_FALSE(parameter.text.empty()) << parameter.path;
    EXPECT_EQ(std::count(seen.begin(), seen.end(), parameter.path), 0) << parameter.path;
    seen.push_back(parameter.path);
    EXPECT_EQ(find_parameter(parameter.path), &parameter);
    if (parameter.need != Need::defaulted) continue;
    Draft draft;
    EXPECT_EQ(read_value(parameter, parameter.fallback, draft), "") << parameter.path;
  }
  EXPECT_GT(seen.size(), 80U);
}

}  // namespace
}  // namespace stillrotor
