// Settings of a firmware binary on a simulated microcontroller.
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "io/connector.hpp"
#include "io/mcu/partners.hpp"

namespace stillrotor::io {

struct McuConfig {
  std::string part = "atmega328p";
  std::filesystem::path firmware;         // ELF or Intel HEX
  double clock_Hz = 16e6;                 // 1 MHz to 20 MHz, a divisor of 1 ps multiples
  double supply_V = 5.0;                  // also the ADC reference (AVCC)
  double comparator_hysteresis_V = 5e-3;  // above 0, up to 50 mV
  // Of parts that make their own clock and have a supply of their own (stm32f405)
  double crystal_Hz = 8e6;   // 4 MHz to 26 MHz
  double reference_V = 3.3;  // 1.8 V to 3.6 V; supply of the chip and full scale of its converters
  double input_divider = 1.0;  // above 0, up to 1: from the wires to the analog pins
  std::array<std::string, line_count> line_pins;  // by LineId; "PD6"; empty: not connected
  std::array<std::string, channel_count>
      adc_pins;             // by ChannelId; "ADC3" or "PC3", "AIN0" or "PD6"; empty: not connected
  bool translated = true;   // instructions become the host's own where that can be (stm32f405)
  PartnersConfig partners;  // of stm32f405
  std::vector<SettingChange> settings;  // into the EEPROM, by the names of an ELF file
};

}  // namespace stillrotor::io
