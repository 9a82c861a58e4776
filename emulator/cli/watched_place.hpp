// Where a watched number lies in the firmware's memory, and of what type it is.
#pragma once

#include <string>

#include "emulator/bench/watch_list.hpp"
#include "io/mcu/watch.hpp"

namespace stillrotor {

struct WatchedNumber {
  WatchEntry entry;
  io::mcu::WatchedPlace place;
  std::string type;  // in words: "float", "enum state (uint8)", "uint8, 3 bits"
};

/// Throws io::ConfigError: no such variable or member, several of that name, no number, a type that
/// is not known or another than the bench says.
WatchedNumber watched_number(const WatchEntry&, const io::mcu::Variables&);

/// "float[3]", "struct axes": what a type is called.
std::string describe(io::mcu::TypeIndex, const io::mcu::Variables&);
/// Of an element of an array too; 0: not known.
std::uint64_t bytes_of(io::mcu::TypeIndex, const io::mcu::Variables&);
/// Of a number in words; bits: of a bit field.
std::string describe_number(const io::mcu::ValueType&, unsigned bits);

}  // namespace stillrotor
