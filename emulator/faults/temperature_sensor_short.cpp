#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_temperature};

}  // namespace

const Fault temperature_sensor_short{
    .name = "temperature_sensor_short",
    .text = "a temperature sensor is shorted: its pull-up ends at ground",
    .options = options,
    .needs = temperature_needs,
    .where = temperature_where,
    .fits = temperature_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, temperature_channel(s.word(0)),
                 [&](ChannelFault& fault) { fault.shorted_V = 0.0; });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, temperature_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.shorted_V.reset(); });
        }};

}  // namespace stillrotor
