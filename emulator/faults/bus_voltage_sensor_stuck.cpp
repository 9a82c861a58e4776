#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

bool fits(const Bench& bench, const FaultSettings&) {
  return is_wired(bench, io::channel::bus_voltage) && wires_start_here(bench);
}

}  // namespace

const Fault bus_voltage_sensor_stuck{
    .name = "bus_voltage_sensor_stuck",
    .text = "the bus voltage reads for ever as it does now",
    .needs = "a wire for the bus voltage, from here",
    .where = "harness.channels.bus_voltage, controller.backend",
    .fits = fits,
    .begin =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::bus_voltage, [&](ChannelFault& fault) {
            fault.stuck_V = site.pin_V(io::channel::bus_voltage);
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::bus_voltage,
                 [](ChannelFault& fault) { fault.stuck_V.reset(); });
        }};

}  // namespace stillrotor
