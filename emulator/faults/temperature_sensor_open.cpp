#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_temperature};

}  // namespace

const Fault temperature_sensor_open{
    .name = "temperature_sensor_open",
    .text = "a temperature sensor's wire breaks: its pull-up alone is left",
    .options = options,
    .needs = temperature_needs,
    .where = temperature_where,
    .fits = temperature_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, temperature_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.open_V = site.bench().drive.temperature[s.word(0)].supply_V;
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, temperature_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.open_V.reset(); });
        }};

}  // namespace stillrotor
