// From the wires of the gates to the six switch commands, as a gate driver that makes complement
// and dead time by itself derives them.
//
// Leg    with input x and enable e: e off: both switches off. e on: x high asks for the high
//        switch, x low for the low one. What was on goes off at once; what is asked for comes on
//        one dead time later, unless the wires change their mind before.
// Start  neither switch is on until all wires of the leg are known; the first comes on one dead
//        time after that.
// Source common practice of three-input half-bridge drivers (from memory); a driver that skips the
//        dead time after a pause, or limits the shortest pulse, differs there.
#pragma once

#include <array>

#include "io/wired.hpp"
#include "io/wired_settings.hpp"

namespace stillrotor::io {

/// RT: safe.
class SwitchCommands {
 public:
  /// most edges that one call appends
  static constexpr std::size_t most_per_change = 3;

  explicit SwitchCommands(GateWires wires = GateWires::six, Time dead_time = Time{0})
      : wires_(wires), dead_time_(dead_time) {}

  /// A wire's level at a time; times of one leg never decrease. Appends what follows from it.
  void change(Time at, LineId wire, bool high, EdgeBatch& out) noexcept;
  /// Appends every delayed command that is due by then. Needs room for three edges.
  void pass(Time now, EdgeBatch& out) noexcept;

 private:
  enum class Switch : std::uint8_t { none, high, low };
  struct Leg {
    bool input = false, input_known = false, enable = false, enable_known = false;
    Switch on = Switch::none, pending = Switch::none;
    Time due{};
  };
  void come_due(std::size_t leg, Time now, EdgeBatch& out) noexcept;

  GateWires wires_;
  Time dead_time_;
  std::array<Leg, 3> legs_{};
};

}  // namespace stillrotor::io
