// Two processors side by side, one translated and one interpreted: whatever can be seen of them has
// to be the same whenever both stop.
#pragma once

#include <fmt/core.h>

#include <cstring>
#include <string>

#include "io/mcu/cortexm/core.hpp"

namespace stillrotor::io::cortexm {

/// Translation::set_patience(): much is to be translated in a short time.
inline constexpr std::uint8_t early = 15;

/// What differs, a line each; empty: nothing.
inline std::string difference(Core& translated, Core& interpreted) {
  Cpu &a = translated.cpu(), &b = interpreted.cpu();
  std::string said;
  const auto compare = [&](const std::string& name, std::uint64_t x, std::uint64_t y) {
    if (x != y) said += fmt::format("  {}: translated {:x}, interpreted {:x}\n", name, x, y);
  };
  compare("cycle", a.cycle, b.cycle);
  compare("PC", a.pc(), b.pc());
  for (unsigned i = 0; i < 16; ++i) compare(fmt::format("R{}", i), a.r[i], b.r[i]);
  for (unsigned i = 0; i < 32; ++i) compare(fmt::format("S{}", i), a.s[i], b.s[i]);
  compare("xPSR", a.xpsr(), b.xpsr());
  compare("FPSCR", a.fpscr, b.fpscr);
  compare("FPCCR", a.fpccr, b.fpccr);
  compare("CONTROL", a.control(), b.control());
  compare("exclusive", a.exclusive, b.exclusive);
  compare("asleep", translated.asleep(), interpreted.asleep());
  compare("exceptions", translated.exceptions().taken, interpreted.exceptions().taken);
  for (unsigned i = 0; i < flash_lines; ++i)
    compare(fmt::format("kept line {}", i), a.kept_lines[i], b.kept_lines[i]);
  if (translated.end() != interpreted.end())
    said += "  end: \"" + translated.end() + "\", \"" + interpreted.end() + "\"\n";
  return said;
}

inline std::string difference_of_memory(Core& translated, Core& interpreted) {
  std::string said;
  const auto compare = [&](const Area& x, const Area& y) {
    if (std::memcmp(x.data, y.data, x.bytes) == 0) return;
    Word at = 0;
    while (x.data[at] == y.data[at]) ++at;
    said += fmt::format("  first at {:08x}: translated {:02x}, interpreted {:02x}\n", x.base + at,
                        x.data[at], y.data[at]);
  };
  compare(translated.bus().sram, interpreted.bus().sram);
  compare(translated.bus().ccm, interpreted.bus().ccm);
  compare(translated.bus().flash, interpreted.bus().flash);
  return said;
}

}  // namespace stillrotor::io::cortexm
