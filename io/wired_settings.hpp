// Words in which the settings of controllers on real wires are told, the same for every backend.
#pragma once

#include <cstdint>

namespace stillrotor::io {

/// How the bench holds an output line. open_drain: pulls low or lets go; open_source: pulls high or
/// lets go.
enum class Drive : std::uint8_t { push_pull, open_drain, open_source };

/// Resistor inside the chip. as_is: whatever stands in its register.
enum class Bias : std::uint8_t { as_is, none, pull_up, pull_down };

/// What the six gate lines are wired to.
enum class GateWires : std::uint8_t {
  six,              // one wire a switch
  three,            // UH, VH, WH: one wire a leg, the driver makes the complement
  three_and_enable  // the same; UL, VL, WL: off keeps both switches of the leg off
};

/// Does this line bring something from the controller?
constexpr bool uses(GateWires wires, std::uint16_t gate) noexcept {
  return wires != GateWires::three || gate % 2 == 0;
}

/// The thread that takes the edges in.
struct CaptureThread {
  int core = -1;     // to which it is bound; < 0: any
  int priority = 0;  // SCHED_FIFO, 1 to 98; 0: an ordinary thread

  bool operator==(const CaptureThread&) const = default;
};

}  // namespace stillrotor::io
