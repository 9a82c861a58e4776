#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current,
                                   {.name = "limit",
                                    .family = Family::current,
                                    .least = 0.0,
                                    .most = 10000.0,
                                    .allowed = "0 A to 10000 A",
                                    .example = "40 A"}};

}  // namespace

const Fault current_sensor_saturated{
    .name = "current_sensor_saturated",
    .text = "a current sensor shows no more than this, either way",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            const double zero_V = current_zero_V(site.bench(), s.word(0));
            const double reach_V = s[1] * std::abs(volts_per_A(site.bench(), s.word(0)));
            fault.low_V = zero_V - reach_V;
            fault.high_V = zero_V + reach_V;
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [](ChannelFault& fault) {
            fault.low_V = ChannelFault{}.low_V;
            fault.high_V = ChannelFault{}.high_V;
          });
        }};

}  // namespace stillrotor
