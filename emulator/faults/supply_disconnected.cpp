#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault supply_disconnected{
    .name = "supply_disconnected",
    .text = "the supply is apart and stays so: what comes back lifts the link",
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { site.plant().set_supply_disconnected(true); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_supply_disconnected(false); }};

}  // namespace stillrotor
