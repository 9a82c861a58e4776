// Firmware and settings that cannot be run: each refusal beside a control that runs.
#include <gmock/gmock.h>

#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

class MishapTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

TEST_F(MishapTest, TheControlRunsOn) {
  Chip chip("mishap_NONE");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(10));
  EXPECT_EQ(chip.controller->health(), Health::running);
  EXPECT_EQ(chip.controller->diagnosis(), "");
  EXPECT_EQ(chip.last(line::gate_UL), Level::high);
}

struct Mishap {
  const char* firmware;
  Health health;
  const char* words;
};
class MishapEnds : public ::testing::TestWithParam<Mishap> {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

TEST_P(MishapEnds, WithASentenceAndWithoutAWordOnTheTerminal) {
  ::testing::internal::CaptureStdout();
  ::testing::internal::CaptureStderr();
  Chip chip(std::string("mishap_") + GetParam().firmware);
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(10));
  EXPECT_EQ(::testing::internal::GetCapturedStdout(), "");
  EXPECT_EQ(::testing::internal::GetCapturedStderr(), "");
  EXPECT_EQ(chip.controller->health(), GetParam().health);
  EXPECT_THAT(std::string(chip.controller->diagnosis()), HasSubstr(GetParam().words));
  EXPECT_EQ(chip.now, std::chrono::milliseconds(10)) << "time goes on";
  EXPECT_EQ(chip.last(line::gate_UL), Level::high) << "it did not come to the mishap";
}

// ILLEGAL: after three instructions of two bytes, at 0x0006.
INSTANTIATE_TEST_SUITE_P(
    Of, MishapEnds,
    ::testing::Values(
        Mishap{"ILLEGAL", Health::crashed, "opcode 0x0001, which is no instruction, at PC 0x0006"},
        Mishap{"JUMP_AWAY", Health::crashed, "jumped outside the 32768 bytes"},
        Mishap{"BEYOND_RAM", Health::crashed, "beyond the end of RAM (0x08ff)"},
        Mishap{"STANDSTILL", Health::hung, "jumps to itself with interrupts off"},
        Mishap{"RESERVED_MODE", Health::crashed, "Timer0 to mode 4, which is reserved"},
        Mishap{"EXTERNAL_CLOCK", Health::crashed, "clocks Timer0 from pin T0"},
        Mishap{"DIVIDED_CLOCK", Health::crashed, "CLKPR"},
        Mishap{"LOW_LEVEL", Health::crashed, "low-level mode of INT0"}),
    [](const auto& one) { return std::string(one.param.firmware); });

TEST_F(MishapTest, PowerDownSleepIsRefusedAndIdleIsNot) {
  Chip chip("sleeper_power_down");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(10));
  EXPECT_EQ(chip.controller->health(), Health::crashed);
  EXPECT_THAT(std::string(chip.controller->diagnosis()), HasSubstr("sleep mode 2"));
}

TEST_F(MishapTest, ACrashedPartComesBackWithItsPower) {
  Chip chip("mishap_ILLEGAL");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(1));
  ASSERT_EQ(chip.controller->health(), Health::crashed);
  chip.power(0.0);
  EXPECT_EQ(chip.last(line::gate_UL), Level::released);
  chip.power(5.0);
  EXPECT_EQ(chip.controller->health(), Health::running);
}

/// What make_mcu() says of it: path and words.
std::pair<std::string, std::string> refusal(const McuConfig& config) {
  try {
    make_mcu(config);
  } catch (const ConfigError& error) {
    return {error.path, error.what()};
  }
  return {"", "accepted"};
}

class FirmwareFile : public MishapTest {
 protected:
  void SetUp() override {
    MishapTest::SetUp();
    folder = fs::temp_directory_path() / ("stillrotor-mcu-" + std::to_string(::getpid()));
    fs::create_directories(folder);
  }
  void TearDown() override {
    if (!folder.empty()) fs::remove_all(folder);
  }
  std::string file(const std::string& content) const {
    const auto path = folder / "firmware.elf";
    std::ofstream(path, std::ios::binary) << content;
    return path.string();
  }
  static std::string good() {
    std::ifstream in(firmware_file("test_port_loop"), std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
  static void expect_refused(const fs::path& path, const char* words) {
    McuConfig config = usual_wiring("port_loop");
    config.firmware = path;
    const auto [where, what] = refusal(config);
    EXPECT_EQ(where, "controller.firmware") << path;
    EXPECT_THAT(what, HasSubstr(words));
  }
  fs::path folder;
};

TEST_F(FirmwareFile, AGoodOneIsAcceptedWhereverItLies) {
  McuConfig config = usual_wiring("port_loop");
  config.firmware = file(good());
  EXPECT_EQ(refusal(config).second, "accepted");
}

TEST_F(FirmwareFile, IsRefusedWithTheReasonWhenItIsNone) {
  expect_refused("", "no firmware is named");
  expect_refused(folder / "absent.elf", "does not exist");
  expect_refused(folder, "is a folder");
  expect_refused(file(""), "is empty");
  expect_refused(file("#include <avr/io.h>\n"), "is neither an ELF nor an Intel HEX file");
  expect_refused(file(":100000000C9434000C943E00\n"), "firmware.elf:1: the record says 16 bytes");
  expect_refused(file("\x7f"
                      "ELF"),
                 "ends before its own table says");
  expect_refused("/proc/self/exe", "another processor (machine");
  expect_refused("/dev/null", "is not a regular file");
  expect_refused(firmware_file("test_too_big"),
                 "needs 40000 bytes of program memory, the part has 32768");
}

TEST_F(FirmwareFile, IsRefusedWhenCutOffOrNotLinked) {
  std::string whole = good();
  expect_refused(file(whole.substr(0, 60)), "ends before its own table says");
  std::string object = whole;
  object[16] = 1;  // e_type: relocatable
  expect_refused(file(object), "has not been linked");
  std::string without = whole;
  without[44] = without[45] = 0;  // e_phnum
  expect_refused(file(without), "holds no program");
}

// Whatever single byte of the headers is wrong: accepted or refused, never anything else.
TEST_F(FirmwareFile, SurvivesEveryDamagedHeaderByte) {
  const std::string whole = good();
  for (std::size_t at = 0; at < 120; ++at)
    for (const int value : {0x00, 0x7f, 0xff}) {
      std::string damaged = whole;
      damaged[at] = static_cast<char>(value);
      McuConfig config = usual_wiring("port_loop");
      config.firmware = file(damaged);
      const auto [where, what] = refusal(config);
      ASSERT_TRUE(where == "controller.firmware" || what == "accepted") << "byte " << at;
    }
}

TEST_F(MishapTest, UnknownPinsAreRefusedWithTheAllowedOnes) {
  McuConfig config = usual_wiring("port_loop");
  for (const char* pin : {"PB6", "PC6", "PD8", "PA0", "pd2", "P", "PD22", "13", "PD/"}) {
    config.line_pins[index(line::gate_UL)] = pin;
    const auto [where, what] = refusal(config);
    EXPECT_EQ(where, "harness.gates.UL") << pin;
    EXPECT_THAT(what, HasSubstr("PB0 to PB5, PC0 to PC5, PD0 to PD7")) << pin;
  }
  config.line_pins[index(line::gate_UL)] = "PD3";
  EXPECT_EQ(refusal(config).second, "accepted");
}

TEST_F(MishapTest, UnknownAnalogPinsAreRefusedWithTheAllowedOnes) {
  McuConfig config = usual_wiring("port_loop");
  for (const char* pin : {"ADC8", "PD3", "ADC", "adc3", "ADC10", "AIN2"}) {
    config.adc_pins[index(channel::throttle)] = pin;
    const auto [where, what] = refusal(config);
    EXPECT_EQ(where, "harness.channels.throttle") << pin;
    EXPECT_THAT(what, HasSubstr("ADC0 (PC0), ADC1")) << pin;
  }
  config.adc_pins[index(channel::throttle)] = "PC5";
  EXPECT_EQ(refusal(config).second, "accepted");
}

TEST_F(MishapTest, APinCarriesOneSignalOnly) {
  McuConfig config = usual_wiring("port_loop");
  config.line_pins[index(line::gate_UL)] = "PD6";
  EXPECT_THAT(refusal(config).second, HasSubstr("pin PD6 already carries harness.gates.UH"));
  config = usual_wiring("port_loop");
  config.adc_pins[index(channel::throttle)] = "ADC0";  // PC0, hall.U
  EXPECT_THAT(refusal(config).second, HasSubstr("pin ADC0 already carries harness.hall.U"));
  config.adc_pins[index(channel::throttle)] = "ADC4";
  EXPECT_THAT(refusal(config).second, HasSubstr("ADC4 already carries"));
}

TEST_F(MishapTest, ClocksMustHaveAPeriodOfWholePicoseconds) {
  McuConfig config = usual_wiring("port_loop");
  for (const double good : {1e6, 8e6, 10e6, 16e6, 20e6}) {
    config.clock_Hz = good;
    EXPECT_EQ(refusal(config).second, "accepted") << good;
  }
  for (const double bad : {12e6, 0.0, -16e6, 0.5e6, 25e6, 16e6 + 0.5, 1e300}) {
    config.clock_Hz = bad;
    EXPECT_EQ(refusal(config).first, "controller.clock") << bad;
  }
}

// Datasheet, Speed Grades: 20 MHz from 4.5 V on, 10 MHz from 2.7 V on.
TEST_F(MishapTest, TheClockMustSuitTheSupply) {
  McuConfig config = usual_wiring("port_loop");
  config.clock_Hz = 20e6;
  config.supply_V = 4.5;
  EXPECT_EQ(refusal(config).second, "accepted");
  config.supply_V = 4.4;
  EXPECT_EQ(refusal(config).first, "controller.clock");
  config.clock_Hz = 8e6;
  config.supply_V = 3.3;
  EXPECT_EQ(refusal(config).second, "accepted");
  config.supply_V = 12.0;
  EXPECT_EQ(refusal(config).first, "controller.supply");
}

TEST_F(MishapTest, OnlyTheKnownPartIsAccepted) {
  McuConfig config = usual_wiring("port_loop");
  config.part = "atmega2560";
  EXPECT_EQ(refusal(config).first, "controller.part");
  EXPECT_THAT(refusal(config).second, HasSubstr("allowed: atmega328p, atmega8"));
}

TEST_F(MishapTest, ASupplyAboveTheAbsoluteMaximumIsRefused) {
  Chip chip("port_loop");
  EXPECT_THROW(chip.power(7.0), ConfigError);
  EXPECT_NO_THROW(chip.power(5.5));
}

}  // namespace
}  // namespace stillrotor::io::test
