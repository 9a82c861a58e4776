#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {

const Fault throttle_ground_lifted{
    .name = "throttle_ground_lifted",
    .text = "the throttle loses its ground: its wire rises to the supply, 5 V",
    .needs = throttle_needs,
    .where = throttle_where,
    .fits = throttle_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::throttle,
                 [](ChannelFault& fault) { fault.stuck_V = throttle_supply_V; });
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::throttle, [](ChannelFault& fault) { fault.stuck_V.reset(); });
        }};

}  // namespace stillrotor
