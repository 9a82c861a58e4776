// The routes by which a backend reaches the controller, with the limits that hold until they are
// measured on the very computer.
#pragma once

#include <optional>
#include <string_view>

#include "emulator/budget/budget.hpp"

namespace stillrotor {

/// backend: "gpiod" or "polled"; nothing: it needs no wires. Volts and averages go by the bench's
/// own converters; where it names none, volts by a board converter of common speed.
std::optional<Routes> declared_routes(std::string_view backend, const Bench&);

/// What a calibration has measured of a route, in the place of what is declared.
io::LineRoute measured_lines(const io::LineRoute& declared, const LineCalibration&);

}  // namespace stillrotor
