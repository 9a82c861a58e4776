// What a debugger sees of a simulated processor that stands between two instructions.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace stillrotor::io::mcu {

class DebugTarget {
 public:
  virtual ~DebugTarget() = default;

  /// XML documents of the remote protocol: registers in their order, and where memory lies.
  virtual std::string description() const = 0;
  virtual std::string memory_map() const = 0;

  virtual std::size_t register_count() const noexcept = 0;
  /// 4 or 8.
  virtual std::size_t register_bytes(std::size_t number) const noexcept = 0;
  /// Both: number < register_count().
  virtual std::uint64_t read_register(std::size_t number) noexcept = 0;
  /// false: it cannot be changed.
  virtual bool write_register(std::size_t number, std::uint64_t value) noexcept = 0;
  virtual std::uint32_t pc() noexcept = 0;

  /// How many bytes from there on could be had; the range does not wrap. Registers of peripherals
  /// are read and written as the processor does it, with what that brings about.
  virtual std::size_t read_memory(std::uint32_t address, std::span<std::uint8_t>) noexcept = 0;
  virtual bool write_memory(std::uint32_t address, std::span<const std::uint8_t>) noexcept = 0;
  /// RAM, without side effects; false: the range is not in RAM. For watchpoints.
  virtual bool peek_ram(std::uint32_t address, std::span<std::uint8_t>) const noexcept = 0;

  /// Takes place before the next instruction.
  virtual void reset() noexcept = 0;
  /// Virtual time and place, a line.
  virtual std::string where() = 0;
};

}  // namespace stillrotor::io::mcu
