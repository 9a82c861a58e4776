#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "gain",
                                    .family = Family::ratio,
                                    .least = 0.0,
                                    .most = 5.0,
                                    .allowed = "0 to 5",
                                    .example = "0.8",
                                    .preset = "1"},
                                   {.name = "offset",
                                    .family = Family::voltage,
                                    .least = -1000.0,
                                    .most = 1000.0,
                                    .allowed = "-1000 V to 1000 V, of the bus",
                                    .example = "5 V",
                                    .preset = "0 V"}};
bool fits(const Bench& bench, const FaultSettings&) {
  return is_wired(bench, io::channel::bus_voltage) && wires_start_here(bench);
}

void set(FaultSite& site, double gain, double offset_V) noexcept {
  change(site, io::channel::bus_voltage, [&](ChannelFault& fault) {
    fault.gain = gain;
    fault.pivot_V = 0.0;
    fault.offset_V = offset_V;
  });
}

}  // namespace

const Fault bus_voltage_sensor_wrong{
    .name = "bus_voltage_sensor_wrong",
    .text = "the bus voltage reads as this multiple of what it is, and so much more",
    .options = options,
    .needs = "a wire for the bus voltage, from here",
    .where = "harness.channels.bus_voltage, controller.backend",
    .fits = fits,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          set(site, s[0], s[1] * site.bench().drive.bus_voltage.ratio);
        },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { set(site, 1.0, 0.0); }};

}  // namespace stillrotor
