#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_pair};

std::size_t second(const FaultSettings& s) noexcept { return (s.word(0) + 1) % 3; }
void ends_at(FaultSite& site, io::ChannelId pin, std::optional<io::ChannelId> source) noexcept {
  change(site, pin, [&](ChannelFault& fault) { fault.source = source; });
}

}  // namespace

const Fault current_sensors_swapped{
    .name = "current_sensors_swapped",
    .text = "two phase current sensors have changed places",
    .options = options,
    .needs = current_needs,
    .where = current_where,
    .fits =
        [](const Bench& bench, const FaultSettings& s) {
          return current_is_sensed(bench, {{s[0]}}) &&
                 current_is_sensed(bench, {{static_cast<double>(second(s))}});
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          const io::ChannelId one = current_channel(s.word(0)), other = current_channel(second(s));
          ends_at(site, one, other);
          ends_at(site, other, one);
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          for (std::size_t leg = 0; leg < 3; ++leg) ends_at(site, current_channel(leg), {});
        }};

}  // namespace stillrotor
