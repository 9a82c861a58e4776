// Bridge and gate driver of a bench: what is read, what is refused and how.
#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

using testing::AllOf;
using testing::HasSubstr;

class BridgeBench : public testing::Test {
 protected:
  std::filesystem::path with(const std::string& bridge) {
    return folder_.write("b.yaml", test::small_bench + ("bridge: {" + bridge + "}\n"));
  }
  std::string said(const std::string& bridge) {
    return test::problems([&] { load_bench(with(bridge), {}, "/none"); });
  }
  Bench load(const std::string& bridge) { return load_bench(with(bridge), {}, "/none"); }

  test::Folder folder_;
};

// The default's 1 V stands in every resolved file, and changes nothing there.
TEST_F(BridgeBench, AKneeBelongsToIgbts) {
  EXPECT_THAT(
      said("switch_knee: 1.5 V"),
      AllOf(HasSubstr("b.yaml:14:23: bridge.switch_knee does not apply to a mosfet; allowed "
                      "with switch_kind: igbt. Remove it, or change the kind.")));
  EXPECT_EQ(said("switch_knee: 1 V"), "");
  const Bench igbt = load("switch_kind: igbt, switch_knee: 1.5 V");
  EXPECT_EQ(igbt.drive.bridge.switch_kind, plant::SwitchKind::igbt);
  EXPECT_EQ(igbt.drive.bridge.switch_knee_V, 1.5);
  EXPECT_THAT(said("switch_kind: igbt, switch_knee: 11 V"), HasSubstr("allowed 0 V to 10 V"));
}

// By hand: 200 ns - 50 ns and 300 ns + 100 ns.
TEST_F(BridgeBench, ASkewIsAddedToItsLinesDelay) {
  const auto& driver = load(
                           "driver: {on_delay: 200 ns, off_delay: 300 ns, on_skew: {VL: -50 ns}, "
                           "off_skew: {WH: 100 ns}}")
                           .drive.gate_driver;
  for (int k = 0; k < plant::switch_count; ++k) {
    EXPECT_NEAR(driver.on_delay_s[k], k == 3 ? 150e-9 : 200e-9, 1e-15) << k;
    EXPECT_NEAR(driver.off_delay_s[k], k == 4 ? 400e-9 : 300e-9, 1e-15) << k;
  }
}

TEST_F(BridgeBench, ASkewMayNotMakeADelayNegativeOrLongerThanTenMicroseconds) {
  EXPECT_THAT(said("driver: {on_delay: 200 ns, on_skew: {VL: -250 ns}}"),
              HasSubstr("bridge.driver.on_skew.VL makes the delay -50 ns; allowed 0 to 10000 ns in "
                        "all. Change it, or the delay of all lines."));
  EXPECT_THAT(said("driver: {off_delay: 9 us, off_skew: {UH: 2 us}}"),
              HasSubstr("bridge.driver.off_skew.UH makes the delay 11000 ns"));
  EXPECT_THAT(said("driver: {on_skew: {UL: 11 us}}"), HasSubstr("allowed -10 us to 10 us"));
  EXPECT_EQ(said("driver: {on_delay: 200 ns, on_skew: {VL: -200 ns}}"), "");
}

// By hand: 12 V less 0.6 V of diode; 11 V + 0.5 V are never reached.
TEST_F(BridgeBench, BootstrapSuppliesMustReachWhatTheHighSwitchesWaitFor) {
  EXPECT_THAT(said("driver: {supply: 12 V, bootstrap: {capacitance: 1 uF, undervoltage: 11 V, "
                   "hysteresis: 500 mV}}"),
              AllOf(HasSubstr("the bootstrap supplies reach 11.4 V at most"),
                    HasSubstr("waits for 11.5 V"), HasSubstr("Raise bridge.driver.supply")));
  EXPECT_EQ(said("driver: {supply: 12 V, bootstrap: {capacitance: 1 uF, undervoltage: 9 V}}"), "");
}

}  // namespace
}  // namespace stillrotor
