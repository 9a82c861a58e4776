// Settings of a firmware binary on a simulated microcontroller.
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io {

struct McuConfig {
  std::string part = "atmega328p";
  std::filesystem::path firmware;                 // ELF or Intel HEX
  double clock_Hz = 16e6;                         // 1 MHz to 20 MHz, a divisor of 1 ps multiples
  double supply_V = 5.0;                          // also the ADC reference (AVCC)
  double comparator_hysteresis_V = 5e-3;          // above 0, up to 50 mV
  std::array<std::string, line_count> line_pins;  // by LineId; "PD6"; empty: not connected
  std::array<std::string, channel_count>
      adc_pins;  // by ChannelId; "ADC3" or "PC3", "AIN0" or "PD6"; empty: not connected
  std::vector<SettingChange> settings;  // into the EEPROM, by the names of an ELF file
};

}  // namespace stillrotor::io
