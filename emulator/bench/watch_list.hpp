// controller.watch: variables of the firmware under names of their own,
// {wish: torque_A, integral: drive.axis[1].pid.integral}.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/watch.hpp"

namespace stillrotor {

struct WatchEntry {
  std::string name;                           // of the signal
  std::string path;                           // "drive.axis[1].pid.integral", "foc.c:state"
  std::optional<std::uint32_t> offset;        // bytes into it
  std::optional<io::mcu::VariableType> type;  // nothing: as the debug information says
  std::string written;                        // "torque_A float"
};
inline constexpr std::size_t most_watched = 32;

/// As a bench writes it: "float".
std::string_view word_of(io::mcu::VariableType) noexcept;

/// Pairs "name: path[+offset] [type]". What cannot be read becomes `problem`, a sentence with what
/// is allowed, and ends the list.
std::vector<WatchEntry> read_watch_list(std::string_view text, std::string& problem);

}  // namespace stillrotor
