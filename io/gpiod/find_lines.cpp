#include "io/gpiod/find_lines.hpp"

#include <vector>

namespace stillrotor::io::gpiod {
namespace {

bool is_called(const ChipState& chip, const std::string& word) {
  return chip.path == word || chip.name == word || chip.label == word;
}

std::string names_of(std::span<const ChipState> chips) {
  if (chips.empty())
    return "none: no device /dev/gpiochip* that this user may open. Load the board's driver, or "
           "join the group that owns the devices (on many boards: gpio)";
  std::string all;
  for (const ChipState& chip : chips)
    all += (all.empty() ? "" : ", ") + chip.name + " [" + chip.label + "]";
  return all;
}

void refuse_used(const std::string& path, const ChipState& chip, unsigned offset) {
  const LineState& line = chip.lines[offset];
  if (!line.used) return;
  throw ConfigError(
      path, path + " is line " + std::to_string(offset) + " of " + chip.name +
                (line.name.empty() ? "" : " (" + line.name + ")") + ", which " +
                (line.user.empty() ? "somebody else" : "\"" + line.user + "\"") +
                " has already; allowed: a line that nobody uses. Stop that program, take its "
                "function off the pin in the board's description, or wire another line.");
}

}  // namespace

std::string line_path(LineId line) { return "harness.lines." + std::string(name(line)); }

FoundLine find_line(const std::string& path, const GpiodLine& wanted,
                    std::span<const ChipState> chips) {
  std::vector<FoundLine> found;
  bool chip_there = wanted.chip.empty();
  for (std::size_t c = 0; c < chips.size(); ++c) {
    if (!wanted.chip.empty() && !is_called(chips[c], wanted.chip)) continue;
    chip_there = true;
    const auto& lines = chips[c].lines;
    if (wanted.offset >= 0) {
      const auto offset = static_cast<unsigned>(wanted.offset);
      if (offset >= lines.size())
        throw ConfigError(path + ".offset", path + ".offset is " + std::to_string(offset) +
                                                "; allowed on " + chips[c].name + ": 0 to " +
                                                std::to_string(lines.size() - 1) +
                                                ". Check the board's pin list.");
      found.push_back({c, offset});
      continue;
    }
    for (std::size_t k = 0; k < lines.size(); ++k)
      if (lines[k].name == wanted.name) found.push_back({c, static_cast<unsigned>(k)});
  }
  if (!chip_there)
    throw ConfigError(path + ".chip",
                      path + ".chip is " + wanted.chip +
                          "; there is no such chip here. Chips: " + names_of(chips) + ".");
  if (found.empty())
    throw ConfigError(path + ".name", path + ".name is " + wanted.name +
                                          "; no line is called so. Chips: " + names_of(chips) +
                                          ". `gpioinfo` shows all names; or give chip and offset.");
  if (found.size() > 1)
    throw ConfigError(path, path + ": " + std::to_string(found.size()) + " lines answer to " +
                                (wanted.offset >= 0 ? wanted.chip : wanted.name) +
                                "; allowed: one. Give the chip's device (/dev/gpiochip0) and "
                                "the offset.");
  refuse_used(path, chips[found[0].chip], found[0].offset);
  return found[0];
}

}  // namespace stillrotor::io::gpiod
