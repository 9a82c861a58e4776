// The ATmega8 beside the ATmega328P: the same source does the same on both, to the cycle, and what
// only one of them has is as its datasheet says (ATmega8/ATmega8L, sections named below).
#include <gmock/gmock.h>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::milliseconds;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::SizeIs;

class Atmega8 : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }

  static McuConfig wiring(const std::string& firmware) {
    McuConfig config = usual_wiring("atmega8_" + firmware);
    config.part = "atmega8";
    return config;
  }
  static std::string refusal(const McuConfig& config) {
    try {
      make_mcu(config);
    } catch (const ConfigError& error) {
      return error.path + ": " + error.what();
    }
    return "accepted";
  }
};

struct Waveform {
  const char* name;
  const char* beside;  // the same on the other part
};
class SameWaveform : public ::testing::TestWithParam<Waveform> {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

/// Edges of OC1A, OC1B and OC2(A), counted from the first of them.
std::vector<Chip::Step> edges(McuConfig config) {
  config.line_pins[index(line::gate_UH)] = "PB1";
  config.line_pins[index(line::gate_UL)] = "PB2";
  config.line_pins[index(line::gate_WH)] = "PB3";
  Chip chip(config);
  chip.power(5.0);
  chip.run(milliseconds(5));
  std::vector<Chip::Step> all;
  for (const LineId gate : {line::gate_UH, line::gate_UL, line::gate_WH}) {
    auto steps = chip.steps(gate);
    if (!steps.empty()) steps.erase(steps.begin());  // the pin becomes an output
    all.insert(all.end(), steps.begin(), steps.end());
  }
  std::int64_t first = all.empty() ? 0 : all.front().cycle;
  for (const Chip::Step& step : all) first = std::min(first, step.cycle);
  for (Chip::Step& step : all) step.cycle -= first;
  std::erase_if(all, [](const Chip::Step& step) { return step.cycle > 60'000; });
  return all;
}

// Waveforms of the other part are held against its datasheet in timer_test.cpp; section 16-bit
// Timer/Counter1 of both datasheets is the same, 8-bit Timer/Counter2 but for its one channel.
TEST_P(SameWaveform, IsThatOfTheOtherPart) {
  McuConfig config = usual_wiring(std::string("wave_atmega8_") + GetParam().name);
  config.part = "atmega8";
  const auto here = edges(config);
  EXPECT_GT(here.size(), 10u);
  EXPECT_EQ(here, edges(usual_wiring(std::string("wave_") + GetParam().beside)));
}

INSTANTIATE_TEST_SUITE_P(Of, SameWaveform,
                         ::testing::Values(Waveform{"phase_correct_icr", "phase_correct_icr"},
                                           Waveform{"frequency_correct", "frequency_correct"},
                                           Waveform{"fast_icr", "fast_icr"},
                                           Waveform{"clear_on_compare", "clear_on_compare"},
                                           Waveform{"phase_correct_8", "phase_correct_8_2"},
                                           Waveform{"fast_8", "fast_8_2"}),
                         [](const auto& one) { return std::string(one.param.name); });

// Sections Timer/Counter Interrupt Flag Register, Special Function IO Register, Register Summary.
TEST_F(Atmega8, NeighboursInARegisterDoNotDisturbEachOther) {
  McuConfig config = wiring("shared_registers");
  config.line_pins[index(line::hall_U)] = "";  // nobody drives PC0: its pull-up decides
  config.line_pins[index(line::gate_WH)] = "PB2";
  config.line_pins[index(line::gate_VH)] = "PD5";
  Chip chip(config);
  chip.power(5.0);
  chip.run(milliseconds(5));
  ASSERT_EQ(chip.last(line::gate_WH), Level::high) << "the firmware did not come to its end";
  EXPECT_EQ(chip.last(line::gate_UL), Level::high) << "flags of other timers in TIFR";
  EXPECT_EQ(chip.last(line::gate_VL), Level::high) << "an interrupt enabled late in TIMSK";
  EXPECT_EQ(chip.last(line::gate_WL), Level::high) << "PUD in SFIOR";
  EXPECT_EQ(chip.last(line::gate_VH), Level::high) << "SBI writes ADIF back";
}

// Section Accessing UBRRH/UCSRC Registers. By hand: 11 bits of 16 * 513 cycles, four times; the
// first write is up to ten cycles before PD2, and the line is told with its last byte.
TEST_F(Atmega8, TheUsartsFormatAndRateShareAnAddress) {
  Chip chip(wiring("shared_usart"));
  chip.power(5.0);
  chip.run(milliseconds(50));
  EXPECT_EQ(chip.last(line::gate_VL), Level::high) << "read twice: rate, then format";
  ASSERT_THAT(chip.said, SizeIs(1));
  EXPECT_EQ(chip.said[0].second, "abc");
  EXPECT_NEAR(static_cast<double>(cycles(chip.said[0].first) - chip.rises(line::gate_UL).at(0)),
              4 * 11 * 16 * 513, 20);
}

// Section Analog-to-Digital Converter: ADFR; 13 ADC clocks of 16 cycles.
TEST_F(Atmega8, ConversionsRunFreelyByAdfr) {
  Chip chip(wiring("converter_free"));
  chip.power(5.0);
  chip.run(milliseconds(5));
  ASSERT_GT(chip.asked.size(), 300u);
  for (std::size_t k = 2; k < chip.asked.size(); ++k)
    ASSERT_EQ(cycles(chip.asked[k].at - chip.asked[k - 1].at), 13 * 16) << "conversion " << k;
}

TEST_F(Atmega8, ReadsItsOwnEepromAndPrintsNothing) {
  ::testing::internal::CaptureStdout();
  Chip chip(wiring("eeprom_speaks"));
  EXPECT_EQ(::testing::internal::GetCapturedStdout(), "");
  chip.power(5.0);
  chip.run(milliseconds(20));
  ASSERT_THAT(chip.said, SizeIs(1));
  EXPECT_EQ(chip.said[0].second, "orchard");
}

// Section Analog Comparator Multiplexed Input. 2 V are above the 1 V of ADC7 and below the 2.5 V of
// AIN1.
TEST_F(Atmega8, AcmeInSfiorGivesTheComparatorTheConvertersInput) {
  McuConfig config = wiring("comparator_multiplexed");
  config.line_pins[index(line::gate_UH)] = "";  // its pin is AIN0
  config.adc_pins[index(channel::star_point)] = "AIN0";
  config.adc_pins[index(channel::phase_voltage_U)] = "AIN1";
  config.adc_pins[index(channel::phase_voltage_V)] = "ADC7";
  Chip chip(config);
  double multiplexed_V = 1.0;
  chip.voltage = [&](ChannelId id, Time) {
    if (id == channel::star_point) return 2.0;
    return id == channel::phase_voltage_U ? 2.5 : multiplexed_V;
  };
  chip.power(5.0);
  chip.run(milliseconds(1));
  EXPECT_EQ(chip.last(line::gate_VL), Level::high);
  multiplexed_V = 3.0;
  chip.run(milliseconds(2));
  EXPECT_EQ(chip.last(line::gate_VL), Level::low);
}

// Section Watchdog Timer: 16384 cycles of its oscillator, typically 16.3 ms at 5 V.
TEST_F(Atmega8, ItsWatchdogResetsIt) {
  Chip chip(wiring("watchdog"));
  chip.power(5.0);
  chip.run(milliseconds(100));
  EXPECT_GE(chip.rises(line::gate_UL).size(), 3u);
  EXPECT_LE(chip.rises(line::gate_UL).size(), 7u);
}

TEST_F(Atmega8, PowerDownSleepIsRefusedHereToo) {
  Chip chip(wiring("sleeper_power_down"));
  chip.power(5.0);
  chip.run(milliseconds(1));
  EXPECT_EQ(chip.controller->health(), Health::crashed);
  EXPECT_THAT(std::string(chip.controller->diagnosis()), HasSubstr("sleep mode 2"));
}

TEST_F(Atmega8, FirmwareOfAnotherPartIsRefused) {
  McuConfig config = usual_wiring("port_loop");
  config.part = "atmega8";
  EXPECT_THAT(refusal(config), AllOf(HasSubstr("controller.firmware: "),
                                     HasSubstr("instructions of the family avr5"),
                                     HasSubstr("-mmcu=atmega8, or set controller.part")));
  config = usual_wiring("eeprom_speaks");
  config.firmware.replace_extension(".hex");
  config.part = "atmega8";
  EXPECT_THAT(refusal(config), HasSubstr("begins with JMP, an instruction that atmega8 has not"));
  config = wiring("eeprom_speaks");
  EXPECT_EQ(refusal(config), "accepted");
  config.part = "atmega328p";
  EXPECT_THAT(refusal(config), HasSubstr("instructions of the family avr4"));
}

TEST_F(Atmega8, FirmwareOfAPartOfTheSameFamilyIsRefusedByItsNote) {
  McuConfig config = usual_wiring("of_another_part");
  EXPECT_THAT(refusal(config), HasSubstr("was compiled for atmega168p; controller.part is "
                                         "atmega328p"));
  config = usual_wiring("of_the_same_part");  // ATmega328, which differs in nothing that is here
  EXPECT_EQ(refusal(config), "accepted");
}

// Section Speed Grades: ATmega8 16 MHz from 4.5 V to 5.5 V.
TEST_F(Atmega8, HasItsOwnSpeedGrade) {
  McuConfig config = wiring("eeprom_speaks");
  config.clock_Hz = 20e6;
  EXPECT_THAT(refusal(config), HasSubstr("at 5 V atmega8 runs up to 16.0 MHz"));
  config.clock_Hz = 8e6;
  EXPECT_EQ(refusal(config), "accepted");
  config.supply_V = 3.3;
  EXPECT_THAT(refusal(config), HasSubstr("supply is 3.3 V; allowed with atmega8: 4.5 V to 5.5 V"));
}

}  // namespace
}  // namespace stillrotor::io::test
