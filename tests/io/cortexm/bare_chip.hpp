// A whole part whose firmware does nothing: tests are its processor.
#pragma once

#include <cstring>
#include <random>

#include "tests/io/cortexm/outside.hpp"

namespace stillrotor::io::cortexm {

inline Program idle_program() {
  Program program;
  program.flash.assign(0x400, 0);
  const Word words[] = {0x20000400, 0x08000201};
  std::memcpy(program.flash.data(), words, sizeof words);
  program.flash[0x200] = 0xfe;  // B .
  program.flash[0x201] = 0xe7;
  program.names.push_back({0x08000200, 2, true, "idle"});
  return program;
}

struct BareChip {
  explicit BareChip(Program program = idle_program(), OutsideFunctions functions = {})
      : outside(std::move(functions)),
        chip(*find_chip("stm32f405"), std::move(program), 8'000'000, outside) {
    chip.run(Time{1});
  }
  void set(Word address, Word value, unsigned size = 4) {
    chip.core().bus().write(address, size, value, chip.core().now(), true);
  }
  Word get(Word address, unsigned size = 4) {
    Word value = 0xdeadbeef;
    chip.core().bus().read(address, size, value, chip.core().now(), true);
    return value;
  }
  /// Each clock that RCC gates; and the lock of the backup domain stays.
  void clock_everything() {
    for (const Word enable : {0x30u, 0x34u, 0x40u, 0x44u}) set(rcc + enable, ~Word{0});
  }
  void run(Time span) { chip.run(chip.now() + span); }

  static constexpr Word rcc = 0x40023800;
  Outside outside;
  Chip chip;
};

}  // namespace stillrotor::io::cortexm
