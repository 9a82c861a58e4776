#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current,
                                   {.name = "drift",
                                    .family = Family::current_slope,
                                    .least = -1e5,
                                    .most = 1e5,
                                    .allowed = "-100000 A/s to 100000 A/s",
                                    .example = "2 A/s"}};

}  // namespace

const Fault current_sensor_drift{
    .name = "current_sensor_drift",
    .text = "a current sensor's zero moves on, so much a second",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.drift_V_per_s = s[1] * volts_per_A(site.bench(), s.word(0));
            fault.since_ps = site.now_ps();
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.drift_V_per_s = 0.0; });
        }};

}  // namespace stillrotor
