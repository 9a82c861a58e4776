// What a firmware file puts into program memory and EEPROM, whatever its format.
//
// Errors ConfigError ("controller.firmware"), for whatever is not a firmware of that part: missing,
// a
//        folder, empty, another format, and what elf.hpp and intel_hex.hpp refuse.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

/// A variable in the EEPROM, by the name that the linker has for it: a setting.
struct EepromName {
  std::string name;
  std::uint16_t address = 0, bytes = 0;  // 1, 2 or 4, little end first
};

struct Firmware {
  std::filesystem::path file;
  std::vector<std::uint8_t> flash;   // from address 0; 0xff where the file says nothing
  std::vector<std::uint8_t> eeprom;  // from address 0; may be empty
  std::vector<EepromName> names;     // of an ELF file, by address
};

/// ELF or Intel HEX, by what the file starts with.
Firmware load_firmware(const std::filesystem::path&, const Part&);

/// The address space of avr-gcc's linker scripts, which ELF and HEX files share: program memory
/// from 0, data from 0x800000, EEPROM from 0x810000, and from 0x820000 fuses, lock bits and
/// signature, which are not executed.
enum class Memory : std::uint8_t { flash, data, eeprom, not_executed };
struct Place {
  Memory memory;
  std::uint64_t address;  // within that memory
};
constexpr Place place_of(std::uint64_t address) noexcept {
  if (address < 0x800000) return {Memory::flash, address};
  if (address < 0x810000) return {Memory::data, address - 0x800000};
  if (address < 0x820000) return {Memory::eeprom, address - 0x810000};
  return {Memory::not_executed, address - 0x820000};
}

}  // namespace stillrotor::io::mcu
