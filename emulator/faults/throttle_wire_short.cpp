#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 2> words{"ground", "supply"};
constexpr FaultOption options[] = {
    {.name = "to", .words = words, .allowed = "ground, supply", .example = "supply"}};

}  // namespace

const Fault throttle_wire_short{
    .name = "throttle_wire_short",
    .text = "the throttle's wire is shorted to ground or to its supply of 5 V",
    .options = options,
    .needs = throttle_needs,
    .where = throttle_where,
    .fits = throttle_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, io::channel::throttle, [&](ChannelFault& fault) {
            fault.shorted_V = s.word(0) == 1 ? throttle_supply_V : 0.0;
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::channel::throttle, [](ChannelFault& fault) { fault.shorted_V.reset(); });
        }};

}  // namespace stillrotor
