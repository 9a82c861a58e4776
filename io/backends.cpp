#include "io/backends.hpp"

#include <array>

#include "io/analog/with_analog.hpp"
#include "io/capture/capture.hpp"
#include "io/hostfw/hostfw.hpp"
#include "io/link/link.hpp"
#include "io/mcu/cortexm/controller.hpp"
#include "io/mcu/cortexm/parts/part.hpp"
#include "io/polled/polled.hpp"
#include "io/standin/standin.hpp"
#ifdef STILLROTOR_HAS_GPIOD
#include "io/gpiod/gpiod.hpp"
#endif
#ifdef STILLROTOR_HAS_MCU
#include "io/mcu/mcu.hpp"
#endif

namespace stillrotor::io {
namespace {

#ifndef STILLROTOR_HAS_MCU
std::unique_ptr<SimulatedController> make_mcu(const McuConfig& config) {
  throw ConfigError("controller.part",
                    "part is " + config.part +
                        "; this build simulates no AVR (simavr). Install libsimavr-dev, configure "
                        "with -DSTILLROTOR_SIMAVR=ON and build again, or choose a part of another "
                        "family: stm32f405.");
}
#endif

#ifdef STILLROTOR_HAS_GPIOD
constexpr bool has_gpiod = true;
#else
constexpr bool has_gpiod = false;
std::unique_ptr<WiredController> make_gpiod(const GpiodConfig&) {
  throw ConfigError("controller.backend",
                    "backend is gpiod; this build has no GPIO lines (libgpiod). Install "
                    "libgpiod-dev, configure and build again, or choose another backend.");
}
#endif

constexpr std::array table = {
    Backend{"mcu", "virtual", "a firmware binary on a simulated microcontroller: AVR, Cortex-M4F",
            true},
    Backend{"hostfw", "virtual", "firmware compiled for this computer, a shared object", true},
    Backend{"standin", "virtual",
            "a built-in reference controller: six_step, field_oriented or volts_per_hertz", true},
    Backend{"capture", "virtual", "recorded gate edges (VCD), replayed open loop", true},
    Backend{"gpiod", "wall", "a controller on lines of the GPIO character device", has_gpiod},
    Backend{"polled", "wall",
            "a controller on mapped registers that one core looks at all the time", true},
    Backend{"link", "wall",
            "a controller behind a timing co-processor, which computes the fast part of the plant",
            true},
};

struct Maker {
  using Controller = std::unique_ptr<SimulatedController>;
  Controller operator()(const SixStepConfig& c) const { return make_six_step(c); }
  Controller operator()(const FieldOrientedConfig& c) const { return make_field_oriented(c); }
  Controller operator()(const VoltsPerHertzConfig& c) const { return make_volts_per_hertz(c); }
  Controller operator()(const McuConfig& c) const {
    return cortexm::find_chip(c.part) != nullptr ? make_cortexm(c) : make_mcu(c);
  }
  Controller operator()(const CaptureConfig& c) const { return make_capture(c); }
  Controller operator()(const HostFirmwareConfig& c) const { return make_host_firmware(c); }
  Controller operator()(const GpiodConfig&) const { return on_wires(); }
  Controller operator()(const PolledConfig&) const { return on_wires(); }
  Controller operator()(const LinkConfig&) const { return on_wires(); }

 private:
  static Controller on_wires() {
    throw ConfigError(
        "controller.backend",
        "controller.backend names one on real wires, which lives in wall-clock time "
        "and cannot be run in virtual time. Allowed here: mcu, hostfw, standin, capture.");
  }
};

struct WiredMaker {
  using Controller = std::unique_ptr<WiredController>;
  Controller operator()(const auto&) const { return nullptr; }
  Controller operator()(const GpiodConfig& c) const { return make_gpiod(c); }
  Controller operator()(const PolledConfig& c) const { return make_polled(c); }
  Controller operator()(const LinkConfig& c) const { return make_link(c); }
};

}  // namespace

std::span<const Backend> backends() noexcept { return table; }

std::unique_ptr<SimulatedController> make_controller(const ControllerConfig& config) {
  return std::visit(Maker{}, config);
}

std::unique_ptr<WiredController> make_wired_controller(const ControllerConfig& config,
                                                       const AnalogConfig& analog) {
  auto lines = std::visit(WiredMaker{}, config);
  if (!lines || analog.empty()) return lines;
  return with_analog(std::move(lines), analog);
}

}  // namespace stillrotor::io
