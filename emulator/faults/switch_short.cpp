#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_gate};

}  // namespace

const Fault switch_short{
    .name = "switch_short",
    .text = "a switch conducts whatever its gate does; with the other one on it shorts the bus",
    .options = options,
    .begin = [](FaultSite& site, const FaultSettings& s) noexcept {
      site.plant().set_switch_shorted(switch_of(s.word(0)), true);
    }};

}  // namespace stillrotor
