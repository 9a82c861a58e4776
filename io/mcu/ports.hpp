// The pins of ports B, C and D: what each one shows, and the interrupts of pins that change.
//
// Level  an output shows the timer's compare output while that is connected, else its PORT bit; an
//        input shows the wire, or its pull-up when nobody drives the wire, else low.
// Gate   high or low while an output; released while an input.
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: I/O-Ports; External Interrupts.
// RT     nothing here allocates after construction.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

class Timer;

class Ports {
 public:
  /// pins: by LineId; nullopt: not connected.
  Ports(const Part&, Core&, Interrupts&, Outside&,
        const std::array<std::optional<Pin>, line_count>& pins);
  /// The timer whose input capture sits on a pin of these ports.
  void connect(Timer* capture) noexcept { capture_ = capture; }

  /// Registers as after a reset; outputs go to released.
  void reset(Cycle at) noexcept;
  /// Tells the world every output as it is: a new world knows none.
  void announce(Cycle at) noexcept;
  /// Asks the world for every input's level.
  void read_wires(Cycle at) noexcept;
  /// The wire of an input line changes.
  void deliver(const Edge&) noexcept;
  /// A timer's compare output: connected to the pin or not, and its level.
  void compare_output(Pin, bool connected, bool high, Cycle at) noexcept;
  /// PUD has been written.
  void pull_ups_changed(Cycle at) noexcept;
  /// The edges of INT0 and INT1 have been chosen.
  void senses_changed() noexcept;
  bool is_high(Pin pin) const noexcept { return ports_[pin.port].level >> pin.bit & 1; }
  /// A line that the controller drives sits on that pin, so no other peripheral may take it.
  bool is_output(Pin pin) const noexcept { return ports_[pin.port].outputs >> pin.bit & 1; }

 private:
  struct Port {
    std::uint8_t direction = 0, out = 0;  // DDR, PORT
    std::uint8_t compare_connected = 0, compare_high = 0;
    std::uint8_t wire_driven = 0, wire_high = 0;
    std::uint8_t outputs = 0, inputs = 0;  // pins with a line of the connector
    std::array<LineId, 8> line{};
    std::uint8_t level = 0;    // on the pins now
    std::uint8_t before = 0;   // what PIN still reads until visible_from
    std::uint8_t changed = 0;  // since the last interrupt check
    Cycle visible_from = 0;
  };

  void write(const Write&) noexcept;
  std::uint8_t read_pins(Address, Cycle) noexcept;
  void write_external_mask(const Write&) noexcept;
  void refresh(unsigned index, Cycle at, Cycle visible_from) noexcept;
  void drive_outputs(unsigned index, Cycle at) noexcept;
  static void set_wire(Port&, std::uint8_t mask, Level) noexcept;
  std::uint8_t watched(unsigned index) const noexcept;
  void check_interrupts(unsigned index, Cycle at) noexcept;
  template <unsigned Index>
  void on_change(Cycle at) noexcept {
    check_interrupts(Index, at);
  }

  const PinLayout& layout_;
  const ExternalLayout& external_;
  Core& core_;
  Interrupts& interrupts_;
  Outside& outside_;
  Timer* capture_ = nullptr;
  std::array<Port, port_count> ports_;
  struct Output {
    LineId line;
    Pin pin;
    Level driven;  // as last told to the world
  };
  std::vector<Output> outputs_;  // gates first, as in the connector
};

}  // namespace stillrotor::io::mcu
