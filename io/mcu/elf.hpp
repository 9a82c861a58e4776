// Firmware as an ELF file for AVR.
//
// Source System V ABI, ELF-32 object files; AVR machine number 83.
// Errors ConfigError ("controller.firmware"): of another processor or part, not linked, cut off,
//        too big, without a program.
#pragma once

#include <string>
#include <string_view>

#include "io/mcu/firmware.hpp"
#include "io/mcu/image/elf_file.hpp"

namespace stillrotor::io::mcu {

/// What a file for that part must be.
ElfTarget elf_target(const Part&);
/// name: the file's, for messages.
Firmware read_elf(std::string_view bytes, const Part&, const std::string& name);

}  // namespace stillrotor::io::mcu
