#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current,
                                   {.name = "gain",
                                    .family = Family::ratio,
                                    .least = -2.0,
                                    .most = 5.0,
                                    .allowed = "-2 to 5",
                                    .example = "0.9"}};

}  // namespace

const Fault current_sensor_gain{
    .name = "current_sensor_gain",
    .text = "a current sensor shows this multiple of what there is",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.gain = s[1];
            fault.pivot_V = current_zero_V(site.bench(), s.word(0));
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [](ChannelFault& fault) { fault.gain = 1.0; });
        }};

}  // namespace stillrotor
