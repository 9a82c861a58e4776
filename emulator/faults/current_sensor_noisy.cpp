#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current,
                                   {.name = "noise",
                                    .family = Family::current,
                                    .least = 0.0,
                                    .most = 1000.0,
                                    .allowed = "0 A to 1000 A rms",
                                    .example = "0.5 A"}};

}  // namespace

const Fault current_sensor_noisy{
    .name = "current_sensor_noisy",
    .text = "noise on a current sensor: rms, white up to 5 MHz",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.noise_V = std::abs(s[1] * volts_per_A(site.bench(), s.word(0)));
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.noise_V = 0.0; });
        }};

}  // namespace stillrotor
