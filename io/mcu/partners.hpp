// Settings of small parts beside a simulated microcontroller, on the controller's own board.
#pragma once

#include <filesystem>
#include <string>

namespace stillrotor::io {

/// 32 kbit on I2C, pages of 32 bytes. No pins: there is none.
struct EepromConfig {
  std::string clock{}, data{};    // pins of the microcontroller: "PB6"
  int address_pins = 0;           // 0 to 7: its three address pins; its address is 0x50 and that
  std::filesystem::path image{};  // what it holds from its first byte on; empty: as erased
  double write_s = 5e-3;          // above 0, up to 100 ms: while it writes it answers nobody
  bool fitted() const noexcept { return !clock.empty() || !data.empty(); }
};
/// A gate driver's registers on SPI. The drive itself is the bridge's of the bench.
struct GateDriverConfig {
  std::string clock{}, in{}, out{}, select{};  // pins of the microcontroller; in: to the driver
  bool fault_high = false;                     // the driver's fault line is high while it has one
  bool fitted() const noexcept {
    return !clock.empty() || !in.empty() || !out.empty() || !select.empty();
  }
};
struct PartnersConfig {
  EepromConfig eeprom;
  GateDriverConfig gate_driver;
};

}  // namespace stillrotor::io
