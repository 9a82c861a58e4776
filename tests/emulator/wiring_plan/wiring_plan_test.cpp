#include "emulator/wiring_plan/wiring_plan.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>

namespace stillrotor {
namespace {

using testing::HasSubstr;
using testing::Not;

WiringPlan plan_of(const char* name) {
  return wiring_plan(
      load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/" + std::string(name) + ".yaml", {},
                 STILLROTOR_BUILD_DIR));
}
const Wire& wire(const WiringPlan& plan, const std::string& signal) {
  const auto found = std::find_if(plan.wires.begin(), plan.wires.end(),
                                  [&](const Wire& w) { return w.signal == signal; });
  if (found == plan.wires.end()) throw std::runtime_error("no wire " + signal);
  return *found;
}

TEST(WiringPlan, SaysWhichWayEachWireGoes) {
  const WiringPlan plan = plan_of("orchard-cart-hub-stand-in");
  EXPECT_FALSE(wire(plan, "gates.UH").to_controller);
  EXPECT_TRUE(wire(plan, "hall.U").to_controller);
  EXPECT_TRUE(wire(plan, "throttle").to_controller);
  EXPECT_THAT(wire(plan, "hall.U").level, HasSubstr("pulled up"));
  EXPECT_THAT(wire(plan, "gates.UH").protection, HasSubstr("10 kohm to ground"));
}

TEST(WiringPlan, LeavesOutWhatIsNotConnected) {
  const WiringPlan plan = plan_of("orchard-cart-hub-stand-in");
  EXPECT_TRUE(std::none_of(plan.wires.begin(), plan.wires.end(),
                           [](const Wire& w) { return w.signal == "encoder.A"; }));
}

TEST(WiringPlan, NamesThePinsOfAMicrocontroller) {
  if (!std::filesystem::exists(STILLROTOR_BUILD_DIR "/firmware/orchard_six_step.elf"))
    GTEST_SKIP() << "no firmware: avr-gcc is missing";
  const WiringPlan plan = plan_of("orchard-cart-hub");
  EXPECT_THAT(wire(plan, "hall.U").controller, HasSubstr("P"));
}

TEST(WiringPlan, NamesTheConvertersAndTheirSafeLevels) {
  const WiringPlan volts = plan_of("orchard-cart-hub-wired-volts");
  EXPECT_FALSE(volts.simulated);
  EXPECT_EQ(wire(volts, "phase_current.V").bench_pin, "dac_a output 2 (ad5668)");
  EXPECT_EQ(wire(volts, "throttle").level, "0 to 4.8 V, safe 0.85 V");
  const WiringPlan averages = plan_of("orchard-cart-hub-averages");
  EXPECT_EQ(wire(averages, "gates.WH").bench_pin, "adc_a input 2 (mcp3208)");
  EXPECT_FALSE(wire(averages, "gates.WH").to_controller);
  EXPECT_THAT(wire(averages, "gates.WH").protection, HasSubstr("R and C of 1 ms"));
  EXPECT_THAT(drawing(averages), HasSubstr("adc_a input 2 (mcp3208)"));
}

TEST(WiringPlan, CautionsComeFirst) {
  const std::string svg = drawing(plan_of("orchard-cart-hub-stand-in"));
  EXPECT_LT(svg.find("power stage stays disconnected"), svg.find("gates.UH"));
}

TEST(WiringPlan, DrawsEveryWireOnceWithItsDirection) {
  const WiringPlan plan = plan_of("orchard-cart-hub-stand-in");
  const std::string svg = drawing(plan);
  std::size_t arrows = 0;
  for (std::size_t at = svg.find("url(#tip)"); at != std::string::npos;
       at = svg.find("url(#tip)", at + 1))
    ++arrows;
  EXPECT_EQ(arrows, plan.wires.size());
}

TEST(WiringPlan, TextCannotBreakOutOfTheDrawing) {
  WiringPlan plan;
  plan.title = "<script>a & \"b\"</script>";
  EXPECT_THAT(drawing(plan), Not(HasSubstr("<script>")));
  EXPECT_THAT(drawing(plan), HasSubstr("&lt;script&gt;a &amp; &quot;b&quot;"));
}

}  // namespace
}  // namespace stillrotor
