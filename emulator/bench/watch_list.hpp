// controller.watch: variables of the firmware under names of their own, {wish: torque_A float}.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/watch.hpp"

namespace stillrotor {

struct WatchEntry {
  std::string name;          // of the signal
  std::string symbol;        // of the firmware
  std::uint32_t offset = 0;  // bytes into it
  io::mcu::VariableType type = io::mcu::VariableType::float32;
  std::string written;  // "torque_A float"
};
inline constexpr std::size_t most_watched = 32;

/// Pairs "name: symbol[+offset] type". What cannot be read becomes `problem`, a sentence with what
/// is allowed, and ends the list.
std::vector<WatchEntry> read_watch_list(std::string_view text, std::string& problem);

}  // namespace stillrotor
