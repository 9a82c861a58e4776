// Firmware as an Intel HEX file.
//
// Records :LLAAAATT<data>CC, one a line, in any order of addresses; the two's complement checksum
//         over all bytes of a record is 0. Types 00 data, 01 end of file, 02 extended segment
//         address, 03 start segment address, 04 extended linear address, 05 start linear address.
//         Start addresses are checked for their form only: an AVR starts at its reset vector.
// Source  Intel, Hexadecimal Object File Format Specification, revision A (1988); what lies at
//         which address: firmware.hpp, as objcopy writes it.
// Errors  ConfigError ("controller.firmware"), with the number of the line: what is no record, a
// wrong
//         checksum or length, an unknown type, bytes that are given twice or lie outside the part's
//         memories, anything behind the end, and no end.
#pragma once

#include <string>
#include <string_view>

#include "io/mcu/firmware.hpp"

namespace stillrotor::io::mcu {

bool starts_like_intel_hex(std::string_view bytes) noexcept;
/// name: the file's, for messages.
Firmware read_intel_hex(std::string_view bytes, const Part&, const std::string& name);

}  // namespace stillrotor::io::mcu
