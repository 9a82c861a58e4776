// A controller under test on lines of the GPIO character device. See README.md.
//
// Lines  inputs: what the controller drives; outputs: what the bench drives; both as configured.
// Stamps the kernel's, CLOCK_MONOTONIC (Linux 5.7 and later), from its interrupt handler.
// RT     read(): no system call. write(): one for each request in which anything changed;
//        bench_inputs(): one for each chip with such a line; make_safe(): one for each request.
#pragma once

#include <memory>
#include <string_view>

#include "io/gpiod/config.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

namespace gpiod {
class Library;
}

/// Not opened yet. Throws ConfigError where settings cannot be together.
std::unique_ptr<WiredController> make_gpiod(const GpiodConfig&);
/// The same on another library.
std::unique_ptr<WiredController> make_gpiod(const GpiodConfig&, std::unique_ptr<gpiod::Library>);

}  // namespace stillrotor::io
