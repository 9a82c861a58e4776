// A bench as the co-processor is to run it, and benches that it cannot run.
#include "emulator/partition/link_settings.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "emulator/bench/input_error.hpp"

namespace stillrotor {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::SizeIs;

const std::string configs = std::string(STILLROTOR_SOURCE_DIR) + "/configs/";

Bench mid(const std::vector<std::string>& overrides = {}) {
  return load_bench(configs + "benches/orchard-cart-mid.yaml", overrides, ".");
}

io::LinkConfig chip_for(const Bench& bench) {
  io::LinkConfig chip;
  chip.step_s = 1e-6;
  chip.current_range_A = chip.voltage_range_V = 0.0;
  int number = 0;
  for (const io::ChannelId id : fast_channels(bench)) chip.channels[io::index(id)] = number++;
  return chip;
}
io::LinkSettings settings(const Bench& bench) { return link_settings(bench, chip_for(bench)); }

std::vector<std::string> refused(const Bench& bench, double step_s = 1e-6) {
  io::LinkConfig chip = chip_for(bench);
  chip.step_s = step_s;
  try {
    link_settings(bench, chip);
  } catch (const InputError& e) {
    return e.messages;
  }
  return {};
}

TEST(LinkSettings, CarryTheMidBenchsMachineBridgeAndLink) {
  const io::LinkSettings s = settings(mid());
  const auto& p = s.plant.parameters;
  const auto& scale = s.plant.scale;
  const double ohm = scale.volt / scale.ampere;
  EXPECT_EQ(p.pole_pairs, 4U);
  EXPECT_EQ(p.step_ticks, 25U);
  // 25 mohm and 3 mohm, to 13 bits.
  EXPECT_NEAR(std::ldexp(p.resistance.factor, -static_cast<int>(p.resistance.shift)) * ohm, 28e-3,
              28e-3 / 4096);
  EXPECT_NEAR(p.source_V * scale.volt, 72.0, scale.volt);
  EXPECT_NEAR(p.diode_V * scale.volt, 0.8, scale.volt);
  // 30 mohm at the battery.
  EXPECT_NEAR(
      std::ldexp(p.source_conductance.factor, -static_cast<int>(p.source_conductance.shift)) / ohm,
      1.0 / 30e-3, 1.0 / 30e-3 / 2048);
  // In-line sensors of 16 mV/A on 2.5 V end at 156 A; a quarter more must fit.
  EXPECT_GT(scale.ampere * 32767.0, 195.0);
  EXPECT_NEAR(scale.volt * 0x1p18, 1.4 * 72.0, 1e-9);
  EXPECT_EQ(s.parameters.report_steps, 1000U);
  EXPECT_EQ(s.parameters.angle.halls, 1U);
  EXPECT_EQ(s.parameters.angle.encoder_counts, 256U);
  EXPECT_EQ(s.parameters.trip.watches, static_cast<std::uint32_t>(CP_TRIP_NONE));
}

TEST(LinkSettings, ShowTheSensorsOnTheConvertersChannelsInOrder) {
  const Bench bench = mid();
  EXPECT_THAT(fast_channels(bench),
              ::testing::ElementsAre(io::channel::phase_current_U, io::channel::phase_current_V,
                                     io::channel::phase_current_W, io::channel::bus_voltage));
  const io::LinkSettings s = settings(bench);
  ASSERT_EQ(s.parameters.channels, 4U);
  const auto volts = [&](int k, double value, double unit) {
    const cp_sense_channel& c = s.parameters.sense[k];
    const std::int32_t code =
        c.offset + cp_times(c.gain, static_cast<std::int32_t>(std::lround(value / unit)));
    return code * 5.0 / 4096.0;
  };
  // One code is 1.22 mV, and the gain is rounded by half of it at most.
  EXPECT_NEAR(volts(0, 50.0, s.plant.scale.ampere), 2.5 + 0.8, 2e-3);
  EXPECT_NEAR(volts(2, -50.0, s.plant.scale.ampere), 2.5 - 0.8, 2e-3);
  EXPECT_NEAR(volts(3, 72.0, s.plant.scale.volt), 2.88, 3e-3);
}

TEST(LinkSettings, LeaveToLinuxWhatTheChipsPlantHasNothingFor) {
  const Bench bench = mid();
  io::LinkConfig chip = chip_for(bench);
  chip.channels[io::index(io::channel::throttle)] = 5;
  chip.safe_V[io::index(io::channel::throttle)] = 0.85;
  const io::LinkSettings s = link_settings(bench, chip);
  ASSERT_EQ(s.parameters.channels, 6U);
  EXPECT_EQ(s.parameters.sense[5].what, static_cast<std::uint32_t>(CP_SENSE_TOLD));
  EXPECT_EQ(s.parameters.sense[5].offset, 696);  // 0.85 V of 5 V, 4096 codes
  EXPECT_EQ(s.parameters.sense[4].offset, 0);    // nothing is wired there
}

TEST(LinkSettings, TurnAShuntsSignAsThePlantDoes) {
  const io::LinkSettings s = settings(mid(
      {"sensors.phase_current.kind=low_side_shunt", "sensors.phase_current.polarity=inverted"}));
  EXPECT_EQ(s.parameters.sense[1].what, static_cast<std::uint32_t>(CP_SENSE_SHUNT_V));
  EXPECT_GT(s.parameters.sense[1].gain.factor, 0);
  const io::LinkSettings plain = settings(mid({"sensors.phase_current.kind=low_side_shunt"}));
  EXPECT_LT(plain.parameters.sense[1].gain.factor, 0);
}

TEST(LinkSettings, TakeTheDriversTrip) {
  const io::LinkSettings s =
      settings(mid({"bridge.driver.trip_current=120 A", "bridge.driver.trip_delay=2 us"}));
  EXPECT_EQ(s.parameters.trip.watches, static_cast<std::uint32_t>(CP_TRIP_PHASES));
  EXPECT_NEAR(s.parameters.trip.limit * s.plant.scale.ampere, 120.0, s.plant.scale.ampere);
  EXPECT_EQ(s.parameters.trip.delay_ticks, 50U);
}

struct Refused {
  std::string override_, path, allowed;
};
void PrintTo(const Refused& r, std::ostream* out) { *out << r.override_; }
class LinkSettingsRefuse : public ::testing::TestWithParam<Refused> {};
INSTANTIATE_TEST_SUITE_P(
    WhatTheChipLacks, LinkSettingsRefuse,
    ::testing::Values(
        Refused{"machine.resistance_factor.V=1.1", "machine.resistance_factor.V is 1.1",
                "allowed with a co-processor 1."},
        Refused{"machine.turns_factor.W=0.9", "machine.turns_factor.W is 0.9",
                "allowed with a co-processor 1."},
        Refused{"bridge.switch_kind=igbt", "bridge.switch_kind is igbt", "mosfet"},
        Refused{"bridge.output_capacitance=3 nF", "bridge.output_capacitance is 3 nF", "0 F"},
        Refused{"bridge.driver.on_delay=100 ns", "bridge.driver.on_delay is 100 ns", "0 s"},
        Refused{"bridge.driver.undervoltage=8 V", "bridge.driver.undervoltage is 8 V", "0 V"},
        Refused{"supply.kind=bench_supply", "supply.kind is bench_supply", "battery"},
        Refused{"supply.cable_inductance=1 uH", "supply.cable_inductance is 1 uH", "0 H"},
        Refused{"contactor.fitted=on", "contactor.fitted is on", "off"},
        Refused{"sensors.phase_current.bandwidth=10 kHz",
                "sensors.phase_current.bandwidth is 10 kHz", "32 kHz or more"},
        Refused{"sensors.phase_current.noise=2 mV", "sensors.phase_current.noise is 2 mV", "0 V"},
        Refused{"sensors.bus_voltage.filter=100 us", "sensors.bus_voltage.filter is 100 us",
                "hardware"},
        Refused{"sensors.hall.jitter=1 deg", "sensors.hall.jitter is 1 deg", "0 deg"},
        Refused{"controls.command_pulse.fitted=on", "controls.command_pulse.fitted is on", "off"},
        Refused{"machine.inductance_q=900 uH", "machine.inductance_q: inductance_q is 0.0009 H",
                "allowed 3.75e-05 to 0.0006"},
        Refused{"bridge.diode_voltage=500 mV", "bridge.diode_voltage: diode_voltage is 0.5 V",
                "allowed 0.58"},
        Refused{"dc_link.capacitance=1 uF", "dc_link.capacitance: capacitance is 1e-06 F",
                "allowed"}));

TEST_P(LinkSettingsRefuse, WithPathValueAndRemedy) {
  const std::vector<std::string> messages = refused(mid({GetParam().override_}));
  ASSERT_THAT(messages, SizeIs(1));
  EXPECT_THAT(messages[0],
              AllOf(HasSubstr("--set"), HasSubstr(GetParam().path), HasSubstr(GetParam().allowed)));
}

TEST(LinkSettings, TellAllThatIsWrongAtOnce) {
  EXPECT_THAT(refused(mid({"bridge.switch_kind=igbt", "sensors.hall.jitter=1 deg"})), SizeIs(2));
}

TEST(LinkSettings, RefuseASpeedAtWhichTheEncoderLosesEdges) {
  // 8192 counts and a step of 10 us: 0.999 / 8192 turns in it, 732 rpm.
  const auto messages = refused(mid({"sensors.encoder.lines=2048"}), 10e-6);
  ASSERT_THAT(messages, SizeIs(1));
  EXPECT_THAT(messages[0], AllOf(HasSubstr("controller.expects.top_speed is 3000 rpm"),
                                 HasSubstr("732 rpm or less")));
}

// Two electrical degrees a step, then 1.0 % of the magnets' flux is lost in straight lines over
// eight: 1 / (180 * 20) turns in 1 us.
TEST(LinkSettings, RefuseASpeedAtWhichTheFieldTurnsTooFarInAStep) {
  const auto messages =
      refused(mid({"machine.pole_pairs=20", "controller.expects.top_speed=20000 rpm"}));
  ASSERT_THAT(messages, SizeIs(1));
  EXPECT_THAT(messages[0], HasSubstr("16667 rpm or less"));
  EXPECT_THAT(refused(mid({"machine.pole_pairs=20", "controller.expects.top_speed=16000 rpm"})),
              SizeIs(0));
}

TEST(LinkSettings, RefuseActionsThatWouldHaveToHappenInsideTheChip) {
  Bench bench = mid();
  bench.controller = chip_for(bench);
  Scenario scenario;
  scenario.file = "x.yaml";
  Action slope, cut, sag, surge;
  slope.kind = ActionKind::slope;
  cut.kind = ActionKind::fault;
  cut.label = "phase_open V";
  sag.kind = surge.kind = ActionKind::supply_voltage;
  sag.value = 40.0;
  surge.value = 101.0;  // two fifths above 72 V are 100.8 V
  surge.label = "supply_voltage 101 V";
  const auto refusals = [&](std::vector<Action> timeline) -> std::vector<std::string> {
    scenario.timeline = std::move(timeline);
    try {
      require_outside_the_chip(bench, scenario);
    } catch (const InputError& e) {
      return e.messages;
    }
    return {};
  };
  EXPECT_THAT(refusals({slope, sag}), SizeIs(0));
  const auto both = refusals({slope, cut, sag, surge});
  ASSERT_THAT(both, SizeIs(2));
  EXPECT_THAT(both[0], HasSubstr("\"phase_open V\" would happen inside the co-processor"));
  EXPECT_THAT(both[1], HasSubstr("\"supply_voltage 101 V\" goes beyond the volts of the "
                                 "co-processor's numbers; allowed up to 100.8 V"));
  std::get<io::LinkConfig>(bench.controller).voltage_range_V = 120.0;
  EXPECT_THAT(refusals({surge}), SizeIs(0));
  bench = mid();  // computed here
  EXPECT_THAT(refusals({cut, surge}), SizeIs(0));
}

}  // namespace
}  // namespace stillrotor
