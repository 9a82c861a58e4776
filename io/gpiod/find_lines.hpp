// Which line of which chip a setting means, and why it cannot be had.
#pragma once

#include <span>
#include <string>

#include "io/gpiod/config.hpp"
#include "io/gpiod/library.hpp"

namespace stillrotor::io::gpiod {

struct FoundLine {
  std::size_t chip = 0;  // index into the chips
  unsigned offset = 0;
};

/// path: of the parameter ("harness.lines.hall.U"). Throws ConfigError: no such chip or line, a
/// name that several have, a line in use (by whom).
FoundLine find_line(const std::string& path, const GpiodLine&, std::span<const ChipState>);

/// Where this line's settings stand in a bench file.
std::string line_path(LineId);

}  // namespace stillrotor::io::gpiod
