#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_voltage};

}  // namespace

const Fault phase_voltage_sensor_stuck{
    .name = "phase_voltage_sensor_stuck",
    .text = "a terminal's voltage, or the star point's, reads for ever as it does now",
    .options = options,
    .needs = voltage_needs,
    .where = voltage_where,
    .fits = voltage_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          const io::ChannelId channel = voltage_channel(s.word(0));
          change(site, channel, [&](ChannelFault& fault) { fault.stuck_V = site.pin_V(channel); });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, voltage_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.stuck_V.reset(); });
        }};

}  // namespace stillrotor
