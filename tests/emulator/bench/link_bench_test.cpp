// Controllers behind a co-processor in a bench file: what is refused and how, beside one that
// loads.
#include "tests/emulator/bench/same_bench.hpp"

namespace stillrotor {
namespace {

using io::index;
using test::Folder;
using test::problems;
using test::replaced;
using test::small_bench;
using testing::HasSubstr;

const char* const on_link = R"(backend: link
  link:
    address: udp:192.168.7.2:4500
    tick: 133 MHz
    step: 1 us
    report: 500 us
  expects: {dead_time: 2 us}
cycle: {delay: 5 ms}
harness:
  channels:
    throttle: {chip_channel: 4}
)";

class OnLink : public testing::Test {
 protected:
  static std::string with(const std::string& controller) {
    return replaced(small_bench, "backend: standin\n  kind: six_step\n", controller);
  }
  Bench load(const std::string& controller) {
    return load_bench(folder_.write("b.yaml", with(controller)), {}, folder_.path() / "build");
  }
  std::string said(const std::string& from, const std::string& to) {
    const auto file = folder_.write("b.yaml", with(replaced(on_link, from, to)));
    return problems([&] { load_bench(file, {}, folder_.path() / "build"); });
  }
  Folder folder_;
};

// By hand: 1 us at 133 MHz is 133 ticks; a tick is 7.52 ns, and rounding to it 2.17 ns rms.
TEST_F(OnLink, ChipAndChannelsLoad) {
  const Bench bench = load(on_link);
  const auto& link = std::get<io::LinkConfig>(bench.controller);
  EXPECT_EQ(link.address, "udp:192.168.7.2:4500");
  EXPECT_DOUBLE_EQ(link.tick_Hz, 133e6);
  EXPECT_DOUBLE_EQ(link.step_s, 1e-6);
  EXPECT_NEAR(link.stamp_resolution_s, 7.5188e-9, 1e-13);
  EXPECT_NEAR(link.stamp_jitter_s, 2.1705e-9, 1e-13);
  EXPECT_EQ(link.channels[index(io::channel::throttle)], 4);
  EXPECT_EQ(link.safe_V[index(io::channel::throttle)], bench.controls.throttle_idle_V);
  EXPECT_EQ(link.channels[index(io::channel::bus_voltage)], -1);
  EXPECT_TRUE(bench.harness.channels[index(io::channel::throttle)]);
  EXPECT_FALSE(bench.harness.channels[index(io::channel::bus_voltage)]);
  EXPECT_TRUE(bench.harness.lines[index(io::line::gate_WL)].connected);
  EXPECT_TRUE(bench.harness.lines[index(io::line::key)].connected);
  EXPECT_FALSE(bench.harness.lines[index(io::line::contactor)].connected);
  EXPECT_FALSE(link.settings.has_value()) << "that follows from the whole bench, later";
}

TEST_F(OnLink, ItsResolvedFileLoadsToTheSame) {
  const Bench first = load(on_link);
  test::expect_same_bench(
      first, load_bench(folder_.write("run/bench.yaml", first.resolved_yaml), {}, "/none"));
}

TEST_F(OnLink, StepsAreWholeTicks) {
  EXPECT_THAT(said("step: 1 us", "step: 1.003 us"), HasSubstr("133.399 ticks"));
  EXPECT_THAT(said("step: 1 us", "step: 2 us"), HasSubstr("a whole number, 16 to 256"));
  EXPECT_THAT(said("report: 500 us", "report: 5 ms"), HasSubstr("5000 steps; allowed a whole"));
}

TEST_F(OnLink, TheBenchHasToStandBehindTheLink) {
  EXPECT_THAT(said("cycle: {delay: 5 ms}\n", ""),
              HasSubstr("cycle.delay is 0.05 ms; allowed with the link: 3 ms and more"));
}

TEST_F(OnLink, AddressesAndChannelsThatAreNoneAreRefused) {
  EXPECT_THAT(said("udp:192.168.7.2:4500", "udp:chip.local:4500"),
              HasSubstr("controller.link.address is 'udp:chip.local:4500'"));
  EXPECT_THAT(said("throttle: {chip_channel: 4}",
                   "throttle: {chip_channel: 4}\n    bus_voltage: {chip_channel: 4}"),
              HasSubstr("which harness.channels.throttle.chip_channel has already"));
  EXPECT_THAT(said("throttle: {chip_channel: 4}", "throttle: {chip_channel: 8}"),
              HasSubstr("chip_channel"));
  EXPECT_THAT(said("throttle:", "phase_voltage.U:"), HasSubstr("no such sensor"));
  EXPECT_THAT(said("address: udp:192.168.7.2:4500\n", "step: 2 us\n"), HasSubstr("step"));
}

TEST_F(OnLink, TheBenchLeadsNothingThatTheChipShowsItself) {
  EXPECT_THAT(said("cycle: {delay: 5 ms}", "cycle: {delay: 5 ms, lead: 1 ms}"),
              HasSubstr("position itself"));
}

TEST_F(OnLink, LinesOfTheBenchsOwnDoNotApply) {
  EXPECT_THAT(said("harness:\n", "harness:\n  lines: {key: {chip: gpiochip0, offset: 3}}\n"),
              HasSubstr("harness.lines.key.chip does not apply to backend link"));
  EXPECT_THAT(said("throttle: {chip_channel: 4}", "throttle: {converter: dac_a}"),
              HasSubstr("does not apply to backend link"));
}

}  // namespace
}  // namespace stillrotor
