// What may be named in a bench file of a simulated microcontroller, whatever its family: parts and
// their pins.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace stillrotor::io::mcu {

struct PartPins {
  std::string_view part;
  std::function<bool(std::string_view)> is_line, is_analog;
  /// One name for each pin, whatever it was called; empty: no such pin.
  std::function<std::string(std::string_view)> physical;
  std::string lines, analog;  // allowed, for messages
};

/// nullopt: no such part.
std::optional<PartPins> pins_of(std::string_view part);
/// All parts, for messages.
std::string simulated_parts();

}  // namespace stillrotor::io::mcu
