// A firmware file: what an ELF for AVR puts into program memory and EEPROM.
//
// Source System V ABI, ELF-32 object files; AVR machine number 83 and the address offsets of data
//        (0x800000) and EEPROM (0x810000) as avr-gcc's linker scripts use them.
#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

namespace stillrotor::io::mcu {

struct Firmware {
  std::vector<std::uint8_t> flash;   // from address 0; 0xff where the file says nothing
  std::vector<std::uint8_t> eeprom;  // from address 0; may be empty
};

/// Throws ConfigError ("controller.firmware") for whatever is not a firmware of that size: missing,
/// a folder, empty, text, an ELF of another processor, not linked, cut off, too big.
Firmware load_firmware(const std::filesystem::path&, std::size_t flash_size,
                       std::size_t eeprom_size);

}  // namespace stillrotor::io::mcu
