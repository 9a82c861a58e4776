#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_gate};

}  // namespace

const Fault switch_open{
    .name = "switch_open",
    .text = "a switch no longer conducts, whatever its gate does; the diode beside it does",
    .options = options,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_switch_open(switch_of(s.word(0)), true);
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_switch_open(switch_of(s.word(0)), false);
        }};

}  // namespace stillrotor
