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
  explicit Wiring(const Harness& harness) noexcept : lines_(harness.lines) {}

  // What happens on the bench's side. Each returns true where the controller's pin changes.
  bool set_source(io::LineId, bool on) noexcept;  // sensor or switch, positive logic
  bool set_fault(io::LineId, const LineFault&) noexcept;
  const LineFault& fault(io::LineId line) const noexcept { return wires_[io::index(line)].fault; }

  /// At the controller's pin. `released`: broken or unconnected, and no pull in the harness.
  io::Level level(io::LineId line) const noexcept { return level(line, is_on(line)); }
  /// The same, were its source on or not.
  io::Level level(io::LineId, bool source_on) const noexcept;
  /// What the record says of it: a floating pin counts as low.
  bool reads_high(io::LineId line) const noexcept { return level(line) == io::Level::high; }
  bool connected(io::LineId line) const noexcept { return lines_[io::index(line)].connected; }
  bool is_on(io::LineId line) const noexcept { return wires_[io::index(line)].on; }  // its source

  /// Does this level at the controller's pin turn on what it drives? Nobody drives it and no pull:
  /// off, as the pull-downs at the gate drivers see to.
  bool turns_on(io::LineId driven, io::Level) const noexcept;

 private:
  struct Wire {
    bool on = false;
    LineFault fault;
  };
  template <class Change>
  bool change(io::LineId, Change) noexcept;

  std::array<LineHarness, io::line_count> lines_;
  std::array<Wire, io::line_count> wires_{};
};

}  // namespace stillrotor
