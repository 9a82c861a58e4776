// The rule by which a run is not to be judged, in one place.
//
// The motor path is what stands between the program and the gates, and between the sensors and the
// program: timers, converters, DMA, ports. From the moment on in which the firmware asks it for
// what only a real chip does, the record says nothing about that firmware. It asks so
//   - where a block of it says itself that it does not do what a register has been told
//     (not_modelled() of timers and converters), and
//   - where a gate's pin is given to an alternate function behind which no model stands.
// Whatever else is guessed at (Guesses) is told, and doubts nothing.
//
// RT     the first doubt allocates; nothing else.
#pragma once

#include <fmt/core.h>

#include <string_view>
#include <vector>

#include "io/doubt.hpp"
#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

class MotorPath {
 public:
  /// That pin carries a gate.
  void add_gate(PinId pin) { gates_.push_back(pin); }

  void asked(std::string_view block, std::string_view what, Time at, const std::string& where) {
    if (!doubt_)
      doubt_ = Doubt{at, fmt::format("the firmware asked for what only the real chip does: {}: {}; "
                                     "at {}",
                                     block, what, where)};
  }
  /// 0 stands for the debugger's and the clock's pins, which is where some are after a reset.
  bool has_to_be_driven(PinId pin, unsigned function) const noexcept {
    return function != 0 && std::find(gates_.begin(), gates_.end(), pin) != gates_.end();
  }
  const std::optional<Doubt>& doubt() const noexcept { return doubt_; }

 private:
  std::vector<PinId> gates_;
  std::optional<Doubt> doubt_;
};

}  // namespace stillrotor::io::cortexm
