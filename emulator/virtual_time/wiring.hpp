// The harness at work: what the controller reads on each line, and what its own pins turn
// on. Polarity, pulls and the faults of the wires.
// RT: everything but the constructor is safe.
#pragma once

#include <array>

#include "emulator/bench/harness.hpp"
#include "emulator/faults/fault_site.hpp"
#include "io/connector.hpp"

namespace stillrotor {

class Wiring {
 public:
  explicit Wiring(const Harness& harness) noexcept;

  // What happens on the bench's side. Each returns true where the controller's pin changes.
  /// Sensor or switch, positive logic. The pin: pin_of(line).
  bool set_source(io::LineId, bool on) noexcept;
  bool set_fault(io::LineId, const LineFault&) noexcept;
  const LineFault& fault(io::LineId line) const noexcept { return wires_[io::index(line)].fault; }

  /// Where a source's wire ends, and whose wire ends at a pin: the same, unless wires are
  /// exchanged.
  io::LineId pin_of(io::LineId source) const noexcept { return wires_[io::index(source)].pin; }
  io::LineId source_of(io::LineId pin) const noexcept { return wires_[io::index(pin)].source; }

  /// At the controller's pin. `released`: broken or unconnected, and no pull in the harness.
  io::Level level(io::LineId line) const noexcept { return level(line, is_on(source_of(line))); }
  /// The same, were the source whose wire ends here on or not.
  io::Level level(io::LineId, bool source_on) const noexcept;
  /// What the record says of it: a floating pin counts as low.
  bool reads_high(io::LineId line) const noexcept { return level(line) == io::Level::high; }
  bool connected(io::LineId line) const noexcept { return lines_[io::index(line)].connected; }
  bool is_on(io::LineId line) const noexcept { return wires_[io::index(line)].on; }  // its source

  /// Any fault on the wire of a gate: passes() then asks for a look.
  bool gates_faulty() const noexcept { return gates_faulty_; }

  /// Does this level at the controller's pin turn on what it drives? Nobody drives it and no pull:
  /// off, as the pull-downs at the gate drivers see to. Faults left out.
  bool turns_on(io::LineId driven, io::Level pin) const noexcept {
    return turns_on_[io::index(driven)][static_cast<std::size_t>(pin)];
  }
  /// Is what the controller drives on, behind the faults of the wire, where the pin asks for `on`?
  bool passes(io::LineId driven, bool on) const noexcept {
    return wires_[io::index(driven)].faulty ? turns_on(driven, level(driven, on)) : on;
  }

 private:
  struct Wire {
    bool on = false;
    bool faulty = false;  // the fault is one that level() has to look at
    io::LineId pin{}, source{};
    LineFault fault;
  };
  template <class Change>
  bool change(io::LineId pin, Change) noexcept;
  void find_pins() noexcept;

  std::array<LineHarness, io::line_count> lines_;
  std::array<Wire, io::line_count> wires_{};
  std::array<std::array<bool, 3>, io::line_count> turns_on_{};  // by Level
  bool gates_faulty_ = false;
};

}  // namespace stillrotor
