#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current};

}  // namespace

const Fault current_sensor_stuck{
    .name = "current_sensor_stuck",
    .text = "a current sensor shows for ever what it shows now",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.stuck_V = site.pin_V(current_channel(s.word(0)));
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.stuck_V.reset(); });
        }};

}  // namespace stillrotor
