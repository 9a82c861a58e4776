// What one chip around the core has, as data: memories, and where its blocks stand.
//
// Source the part's reference manual (RM0090 for STM32F405: 2.3 memory map, 12.2 vectors) and
//        datasheet; from memory.
#pragma once

#include <span>
#include <string_view>

#include "io/mcu/cortexm/kept_registers.hpp"
#include "io/mcu/cortexm/parts/motor.hpp"
#include "io/mcu/cortexm/parts/serial.hpp"

namespace stillrotor::io::cortexm {

/// A block without a model.
struct KeptBlock {
  const char* name;
  Word base, bytes;
  std::span<const RegisterRow> rows{};
  bool backup = false;  // in the backup domain: a system reset leaves it as it is
};
/// Which bits of RCC are a block's: its clock, by the offset of the enable register, and its reset
/// 0x20 before that.
struct ClockRow {
  Word base, enable, clock_bits, reset_bits;
};
extern const std::span<const ClockRow> stm32f405_clocks;
struct PortBlock {
  const char* name;
  char letter;
  Word base;
  Word mode, pull, speed;  // at reset
};
struct UsartBlock {
  const char* name;
  Word base;
  unsigned interrupt;
  bool fast;  // on APB2
};
struct CanBlock {
  const char* name;
  Word base;
  unsigned transmit_interrupt, change_interrupt;
};
struct UsbBlock {
  const char* name;
  Word base;
};
/// A range of external lines that share an interrupt.
struct LineInterrupt {
  unsigned first, last, interrupt;
};

struct ChipPart {
  std::string_view name;
  Memories memories;
  unsigned interrupts;
  std::uint32_t highest_Hz;
  Word clock_tree, flash_controller, external_lines, system_configuration, watchdog,
      window_watchdog, power, crc, option_bytes, identity;
  unsigned window_watchdog_interrupt;
  std::span<const Word> sector_bytes;  // of the flash, in order
  std::span<const PortBlock> ports;
  std::span<const UsartBlock> usarts;
  std::span<const CanBlock> cans;
  std::span<const UsbBlock> usbs;
  std::span<const LineInterrupt> lines;
  std::span<const ClockRow> clocks;
  std::span<const RegisterRow> identity_words;
  std::span<const KeptBlock> kept;
  const MotorPart* motor;
  const SerialPart* serial;
};

/// By the name that benches use; nullptr: none.
const ChipPart* find_chip(std::string_view name) noexcept;
/// All of them, for messages.
std::string_view chip_names() noexcept;

}  // namespace stillrotor::io::cortexm
