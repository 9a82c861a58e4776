// What every fault of the catalogue keeps to.
#include <gtest/gtest.h>

#include <filesystem>
#include <regex>
#include <set>
#include <string>

#include "emulator/bench/parameter.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

// A bench without a wire and without a sensor refuses whatever says that it needs one; and nothing
// is refused without saying why.
TEST(Catalogue, RefusesABenchThatLacksWhatAFaultNeeds) {
  Bench bare = hub_bench();
  bare.harness = {};
  bare.drive.hall.fitted = false;
  bare.drive.phase_current = {};
  bare.drive.machine.flux_map.psi_d_Wb = {1.0};
  bare.drive.machine.turns_factor[0] = 1.1;
  bare.drive.induction = plant::InductionParameters{};
  bare.drive.shaft.hold = plant::Hold::start_speed;
  bare.drive.bridge.switch_kind = plant::SwitchKind::igbt;
  for (const Fault* fault : fault_catalogue()) {
    SCOPED_TRACE(fault->name);
    EXPECT_EQ(is_possible(*fault, bare), fault->needs.empty());
    EXPECT_EQ(fault->needs.empty(), fault->fits == nullptr);
    EXPECT_EQ(fault->needs.empty(), fault->where.empty());
    EXPECT_LE(fault->options.size(), FaultSettings::most);
    EXPECT_FALSE(fault->text.empty());
    EXPECT_NE(fault->begin, nullptr);
    for (const FaultOption& option : fault->options)
      EXPECT_FALSE(option.allowed.empty() || (option.example.empty() && option.preset.empty()));
  }
}

// The words that a user is shown and the numbers that are held against the value.
TEST(Catalogue, SaysTheRangesThatItHas) {
  const std::regex range("(-?[0-9.]+(?: [^ ,]+)?) to (-?[0-9.]+(?: [^ ,]+)?).*");
  int ranges = 0;
  for (const Fault* fault : fault_catalogue())
    for (const FaultOption& option : fault->options) {
      if (!option.words.empty()) continue;
      SCOPED_TRACE(std::string(fault->name) + ", " + std::string(option.name));
      std::smatch said;
      const std::string allowed(option.allowed);
      ASSERT_TRUE(std::regex_match(allowed, said, range));
      const Conversion least = to_si(said[1].str(), option.family),
                       most = to_si(said[2].str(), option.family);
      ASSERT_TRUE(least && most);
      const double rounding = 1e-12 * std::max(std::abs(option.least), std::abs(option.most));
      EXPECT_NEAR(least.si, option.least, rounding);
      EXPECT_NEAR(most.si, option.most, rounding);
      ++ranges;
    }
  EXPECT_GT(ranges, 20);
}

// One page a fault, and no page of a fault that is gone.
TEST(Catalogue, HasItsPages) {
  namespace fs = std::filesystem;
  const fs::path folder = fs::path(STILLROTOR_SOURCE_DIR) / "docs/faults";
  std::set<std::string> pages, names;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder))
    if (entry.path().filename() != "README.md") pages.insert(entry.path().stem().string());
  for (const Fault* fault : fault_catalogue()) names.emplace(fault->name);
  EXPECT_EQ(pages, names);
}

// Behind a timing co-processor gates, Halls, encoder and currents do not pass through this program;
// what the driver's hands move does.
TEST(Catalogue, KnowsWhichWiresACoProcessorHas) {
  Bench linked = hub_bench();
  linked.backend = "link";
  linked.drive.encoder.fitted = true;
  for (const Fault* fault :
       {&gate_line_open, &hall_line_open, &hall_lines_swapped, &encoder_line_open,
        &encoder_lines_swapped, &current_sensor_offset, &bus_voltage_sensor_wrong}) {
    EXPECT_FALSE(is_possible(*fault, linked)) << fault->name;
  }
  for (const Fault* fault : {&throttle_wire_open, &brake_switch_stuck})
    EXPECT_TRUE(is_possible(*fault, linked)) << fault->name;
}

}  // namespace
}  // namespace stillrotor::test
