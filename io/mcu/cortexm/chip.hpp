// A part around the core: clock tree, flash, ports, external lines, serial lines, watchdogs,
// timers, converters, DMA, and registers that are only kept. Resets itself when its firmware or a
// watchdog asks for it.
//
// RT     run() allocates where Core and Guesses do.
#pragma once

#include <deque>
#include <functional>
#include <memory>
#include <span>

#include "io/mcu/cortexm/can.hpp"
#include "io/mcu/cortexm/crc_unit.hpp"
#include "io/mcu/cortexm/external_lines.hpp"
#include "io/mcu/cortexm/fixed_words.hpp"
#include "io/mcu/cortexm/flash_controller.hpp"
#include "io/mcu/cortexm/motor_blocks.hpp"
#include "io/mcu/cortexm/motor_path.hpp"
#include "io/mcu/cortexm/power_control.hpp"
#include "io/mcu/cortexm/program.hpp"
#include "io/mcu/cortexm/serial/serial_blocks.hpp"
#include "io/mcu/cortexm/usart.hpp"
#include "io/mcu/cortexm/usb.hpp"
#include "io/mcu/cortexm/watchdogs.hpp"
#include "io/mcu/workload.hpp"

namespace stillrotor::io::cortexm {

/// What is around a chip; by itself it hears nothing and puts nothing to the pins.
class ChipOutside {
 public:
  virtual ~ChipOutside() = default;
  virtual void text(Time, std::string_view) {}
  /// What that pin drives has changed.
  virtual void driven(PinId, Level, Time) noexcept {}
  /// What came before that time at pins that the chip hears late (hears_late()) is told now, by
  /// set_input() with its own time.
  virtual void catch_up(Time) noexcept {}
  /// At an analog pin, as a share of the converters' reference.
  virtual double share(PinId, Time) noexcept { return 0.0; }
};

class Chip final : PinFollower, ClockFollower, AnalogPins, GuardWatcher, LateEdges {
 public:
  /// part and outside outlive this. crystal_Hz 0: none. unit_timing: one cycle an instruction.
  Chip(const ChipPart& part, Program, std::uint32_t crystal_Hz, ChipOutside& outside,
       bool unit_timing = false);
  Chip(const Chip&) = delete;
  Chip& operator=(const Chip&) = delete;

  /// Until the first instruction end at or after that time, to come_back(), or to where it cannot
  /// go on.
  void run(Time until) noexcept;
  /// run() ends with what is being done now.
  void come_back() noexcept {
    comes_back_ = true;
    core_.pause();
  }
  Time now() const noexcept { return clocks_.time_at(core_.now()); }
  /// At a time that has been reached.
  void set_input(PinId pin, Level level) noexcept {
    ports_[pin.port].set_input(pin.number, level, core_.now());
  }
  /// The same of a pin that is heard late, at a time that has passed.
  void set_input(PinId pin, Level level, Time at) noexcept {
    ports_[pin.port].set_input(pin.number, level, std::min(clocks_.cycle_at(at), core_.now()));
  }
  /// An edge at that pin does nothing before a register is looked at. While nothing listens anew.
  bool keeps_edges(PinId pin) const noexcept {
    return !(external_lines_.pins(pin.port) >> pin.number & 1) && motor_->keeps_edges(pin);
  }
  /// Of these pins edges are told late from now on: ChipOutside::catch_up() asks for them. Each has
  /// to keep its edges; where one may do so no more, run() ends.
  void hear_late(std::span<const PinId>) noexcept;
  /// Changes with whatever listens to pins.
  unsigned listeners() const noexcept { return listeners_; }
  /// That pin carries a gate: before the first run().
  void add_gate(PinId pin) { motor_path_.add_gate(pin); }
  /// Why the run is not to be judged, by the chip's own time.
  const std::optional<Doubt>& doubt() const noexcept { return motor_path_.doubt(); }
  /// A byte on the receiver of that serial line (its place in the part's table).
  void receive(unsigned usart, std::uint8_t byte) noexcept { usarts_[usart].receive(byte); }

  Core& core() noexcept { return core_; }
  const ClockTree& clocks() const noexcept { return clocks_; }
  FlashController& flash_controller() noexcept { return flash_controller_; }
  const Guesses& guesses() const noexcept { return guesses_; }
  const Program& program() const noexcept { return program_; }
  unsigned resets() const noexcept { return resets_; }
  /// What the firmware used of the part, and what of it is modelled; lines.
  std::string coverage() const;
  /// Since it was made.
  mcu::Workload workload();

 private:
  void reset(ResetCause) noexcept;
  void clock_changed(Cycle at) noexcept override {
    catch_up(at);
    core_.pause();
  }
  void catch_up(Cycle at) noexcept override {
    if (hears_late_) outside_.catch_up(clocks_.time_at(at));
  }
  void listeners_change(Cycle at) noexcept override {
    ++listeners_;
    if (!hears_late_) return;
    catch_up(at);
    come_back();
  }
  void blocks_reset(Word offset, Word bits, Cycle) noexcept override;
  void in_vain(const char* block, Word address, bool written, Obstacle o) noexcept override {
    guesses_.in_vain(block, address, written, o);
  }
  void look_for_storms() noexcept;
  void attach_blocks();
  void guard_blocks();
  void configured(PinId pin, Cycle at) noexcept override;
  void not_modelled(std::string_view who, std::string_view what, Cycle at);
  void driven(PinId pin, Level level, Cycle at) noexcept override {
    outside_.driven(pin, level, clocks_.time_at(at));
  }

  double share(PinId pin, Cycle at) noexcept override {
    return outside_.share(pin, clocks_.time_at(at));
  }

  const ChipPart& part_;
  Program program_;
  ChipOutside& outside_;
  Core core_;
  ClockTree clocks_;
  PowerControl power_;
  CrcUnit crc_;
  FixedWords identity_;
  FlashController flash_controller_;
  ExternalLines external_lines_;
  IndependentWatchdog watchdog_;
  WindowWatchdog window_watchdog_;
  Guesses guesses_;
  MotorPath motor_path_;
  // Their addresses are kept by the bus.
  std::deque<Port> ports_;
  std::deque<Usart> usarts_;
  std::deque<Can> cans_;
  std::deque<Usb> usbs_;
  std::deque<KeptRegisters> kept_;
  std::optional<MotorBlocks> motor_;
  std::optional<SerialBlocks> serial_;
  ResetCause cause_ = ResetCause::software;
  unsigned resets_ = 0;
  bool comes_back_ = false;
  bool hears_late_ = false;
  unsigned listeners_ = 0;
};

}  // namespace stillrotor::io::cortexm
