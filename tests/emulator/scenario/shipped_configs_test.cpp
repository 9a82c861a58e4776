// Everything below configs/ loads, in every pairing that makes sense, and its resolved files load
// to the same.
#include <algorithm>
#include <map>
#include <regex>

#include "emulator/bench/facts.hpp"
#include "emulator/scenario/scenario.hpp"
#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using test::Folder;

std::vector<fs::path> files(const std::string& kind) {
  std::vector<fs::path> all;
  for (const auto& entry :
       fs::directory_iterator(fs::path(STILLROTOR_SOURCE_DIR) / "configs" / kind))
    if (entry.is_regular_file()) all.push_back(entry.path());
  std::sort(all.begin(), all.end());
  return all;
}

/// A build folder in which the demo firmware seems built; nothing runs it here.
class BuildFolder {
 public:
  BuildFolder() {
    for (const char* firmware :
         {"orchard_six_step.elf", "orchard_six_step_atmega8.elf", "orchard_sensorless.elf",
          "orchard_foc.so", "orchard_foc_align.so", "orchard_foc_m4.elf",
          "orchard_foc_m4_align.elf", "orchard_foc_m4_halls.elf", "orchard_foc_m4_hangs.elf",
          "orchard_foc_m4_unmodelled.elf"})
      folder_.write(std::string("firmware/") + firmware, test::elf_start);
  }
  fs::path path() const { return folder_.path(); }
  const Folder& folder() const { return folder_; }

 private:
  Folder folder_;
};

TEST(ShippedConfigs, EveryBenchLoadsAndItsResolvedFileToTheSame) {
  const BuildFolder build;
  ASSERT_GE(files("benches").size(), 5U);
  for (const fs::path& file : files("benches")) {
    SCOPED_TRACE(file.string());
    const Bench bench = load_bench(file, {}, build.path());
    const auto resolved = build.folder().write("resolved.yaml", bench.resolved_yaml);
    test::expect_same_bench(bench, load_bench(resolved, {}, "/none"));
    EXPECT_FALSE(facts(bench).empty());
  }
}

/// A scenario that asks for a load or a wire of its own, and the bench that has it.
const std::map<std::string, std::string> special_load{
    {"pedal-and-motor.yaml", "orchard-cart-pedals.yaml"},
    {"held-speed.yaml", "dynamometer-mid.yaml"},
    {"mid-learns.yaml", "free-mid.yaml"},
    {"mid-learns-without-index.yaml", "free-mid.yaml"},
    {"mid-wired-backward.yaml", "dynamometer-mid-order-3.yaml"},
    {"mid-watchdog-bites.yaml", "orchard-cart-mid-m4-hangs.yaml"},
    {"mid-breaks-on-trip.yaml", "orchard-cart-mid-m4-trip.yaml"},
    {"mid-holds-its-speed.yaml", "free-mid-m4-speed.yaml"},
    {"mid-holds-walking-pace.yaml", "free-mid-speed.yaml"},
    {"mid-map-of-torque.yaml", "dynamometer-mid-hostfw.yaml"},
    {"mid-angle-step-by-step.yaml", "dynamometer-mid-hostfw.yaml"},
    {"mid-thresholds.yaml", "dynamometer-mid-hostfw.yaml"},
    {"mid-current-sensors.yaml", "dynamometer-mid-hostfw.yaml"},
    {"hub-map-of-torque.yaml", "dynamometer-hub.yaml"},
    {"hub-current-sensors.yaml", "dynamometer-hub.yaml"},
    {"mid-reverse.yaml", "orchard-cart-mid-hostfw.yaml"},
    {"mid-speed-limit.yaml", "orchard-cart-mid-hostfw.yaml"},
    {"ice-patch.yaml", "orchard-cart-slip.yaml"},
    {"into-the-cold-store.yaml", "orchard-cart-mid-full.yaml"}};

TEST(ShippedConfigs, EveryScenarioLoadsOnBothMachinesOrOnItsOwnLoad) {
  const BuildFolder build;
  for (const char* name : {"orchard-cart-hub.yaml", "orchard-cart-mid.yaml"}) {
    for (const fs::path& file : files("scenarios")) {
      SCOPED_TRACE(file.string());
      const auto special = special_load.find(file.filename().string());
      const Bench bench = load_bench(fs::path(STILLROTOR_SOURCE_DIR) / "configs/benches" /
                                         (special == special_load.end() ? name : special->second),
                                     {}, build.path());
      const Scenario scenario = load_scenario(file, bench);
      const bool by_hand = scenario.timeline.empty() && !scenario.road.any() && !scenario.start.key;
      EXPECT_EQ(scenario.expect.empty(), by_hand);
      const auto resolved = build.folder().write("resolved.yaml", scenario.resolved_yaml);
      EXPECT_EQ(load_scenario(resolved, bench).resolved_yaml, scenario.resolved_yaml);
      for (const Limit& limit : scenario.expect) EXPECT_NE(limit.because, "") << limit.origin;
    }
  }
}

// A part file's values are measured by nobody here: each line says so, or is a definition.
TEST(ShippedConfigs, EveryPartSaysWhereItsNumbersComeFrom) {
  for (const char* kind : {"machines", "supplies", "loads", "sensors"})
    for (const fs::path& file : files(kind)) {
      std::ifstream stream(file);
      for (std::string line; std::getline(stream, line);) {
        static const std::regex number_with_unit("^[^#]*: -?[0-9.]+ [a-zA-Z%]");
        static const std::regex source("# ?(invented|common practice|the textbook)");
        if (!std::regex_search(line, number_with_unit)) continue;
        EXPECT_TRUE(std::regex_search(line, source)) << file << ": " << line;
      }
    }
}

}  // namespace
}  // namespace stillrotor
