#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "reads",
                                    .family = Family::voltage,
                                    .least = 0.0,
                                    .most = 6.0,
                                    .allowed = "0 V to 6 V",
                                    .example = "0 V",
                                    .preset = "0 V"}};

}  // namespace

const Fault throttle_wire_open{
    .name = "throttle_wire_open",
    .text = "the throttle's wire breaks: it reads what the controller's input makes of it",
    .options = options,
    .needs = throttle_needs,
    .where = throttle_where,
    .fits = throttle_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, io::channel::throttle, [&](ChannelFault& fault) { fault.open_V = s[0]; });
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::throttle, [](ChannelFault& fault) { fault.open_V.reset(); });
        }};

}  // namespace stillrotor
