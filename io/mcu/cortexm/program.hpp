// A firmware file for the part: what goes to flash, and what its addresses are called.
//
// Errors ConfigError ("controller.firmware"): not an ELF for Arm, not linked, cut off, outside the
//        part's memories, without a vector table.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/mcu/cortexm/core.hpp"
#include "io/mcu/image/elf_file.hpp"

namespace stillrotor::io::cortexm {

struct Named {
  Word address, bytes;
  bool is_function;
  std::string name;
};

struct Program {
  std::optional<Word> option_bytes;  // as FlashController stores them; none: the factory's
  std::vector<std::uint8_t> flash;   // from the flash's base
  std::vector<Named> names;          // by address; functions without their state bit

  /// "isr+0x12": the function that the address lies in; empty: none.
  std::string name_of(Word address) const;
  /// A variable by its name; nullptr: there is none.
  const Named* find(std::string_view name) const;
};

/// What a file for these chips must be.
mcu::ElfTarget elf_target();
Program read_program(std::string_view bytes, const Memories&, const std::string& name);
Program load_program(const std::filesystem::path&, const Memories&);

}  // namespace stillrotor::io::cortexm
