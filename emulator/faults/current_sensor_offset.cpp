#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_current,
                                   {.name = "offset",
                                    .family = Family::current,
                                    .least = -2000.0,
                                    .most = 2000.0,
                                    .allowed = "-2000 A to 2000 A",
                                    .example = "2 A"}};

}  // namespace

const Fault current_sensor_offset{
    .name = "current_sensor_offset",
    .text = "a current sensor shows so much more than there is",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits = current_is_sensed,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)), [&](ChannelFault& fault) {
            fault.offset_V = s[1] * volts_per_A(site.bench(), s.word(0));
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, current_channel(s.word(0)),
                 [](ChannelFault& fault) { fault.offset_V = 0.0; });
        }};

}  // namespace stillrotor
