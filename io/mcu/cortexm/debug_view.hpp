// A chip as a debugger sees it: registers of the M profile with floating point, memory, reset.
//
// Registers  org.gnu.gdb.arm.m-profile (R0 to R12, SP, LR, PC, xPSR), org.gnu.gdb.arm.vfp (D0 to
//        D15, FPSCR), org.gnu.gdb.arm.m-system (MSP, PSP, PRIMASK, BASEPRI, FAULTMASK, CONTROL).
// Source GDB manual, appendix G.5 (standard target features, ARM), from memory; ARM DDI 0403E,
// B1.4. Not    writing to flash: the firmware is the one under test. Breakpoints need nothing
// written.
#pragma once

#include "io/mcu/cortexm/chip.hpp"
#include "io/mcu/debugger/debugger.hpp"

namespace stillrotor::io::cortexm {

class DebugView final : public Onlooker, mcu::DebugTarget {
 public:
  /// Both outlive this.
  DebugView(Chip&, mcu::Debugger&);
  ~DebugView() override;
  DebugView(const DebugView&) = delete;
  DebugView& operator=(const DebugView&) = delete;
  /// The chip cannot go on.
  void ended() noexcept;

 private:
  bool before_instruction() noexcept override { return debugger_.before_instruction(*this); }
  void asleep() noexcept override { debugger_.asleep(*this); }
  bool breakpoint_instruction() noexcept override { return debugger_.breakpoint_instruction(); }

  std::string description() const override;
  std::string memory_map() const override;
  std::size_t register_count() const noexcept override;
  std::size_t register_bytes(std::size_t number) const noexcept override;
  std::uint64_t read_register(std::size_t number) noexcept override;
  bool write_register(std::size_t number, std::uint64_t value) noexcept override;
  std::uint32_t pc() noexcept override { return cpu_.pc(); }
  std::size_t read_memory(std::uint32_t address, std::span<std::uint8_t>) noexcept override;
  bool write_memory(std::uint32_t address, std::span<const std::uint8_t>) noexcept override;
  bool peek_ram(std::uint32_t address, std::span<std::uint8_t>) const noexcept override;
  void reset() noexcept override { chip_.core().request_reset(); }
  std::string where() override;

  Chip& chip_;
  Cpu& cpu_;
  mcu::Debugger& debugger_;
};

}  // namespace stillrotor::io::cortexm
