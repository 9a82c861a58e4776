// The routes by which a backend reaches the controller, with the limits that hold until they are
// measured on the very computer.
#pragma once

#include <optional>
#include <string_view>

#include "emulator/budget/budget.hpp"

namespace stillrotor {

/// backend: "gpiod" or "polled"; nothing: it needs no wires. The volts' route is a board converter
/// of common speed where the bench names none.
std::optional<Routes> declared_routes(std::string_view backend, const CycleSettings&);

/// What a calibration has measured of a route, in the place of what is declared.
io::LineRoute measured_lines(const io::LineRoute& declared, const LineCalibration&);

}  // namespace stillrotor
