#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault pre_charge_open{
    .name = "pre_charge_open",
    .text = "the pre-charge resistor is open: the contactor closes onto an empty link",
    .needs = "a pre-charge resistor",
    .where = "contactor.pre_charge",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.contactor.fitted && bench.drive.contactor.pre_charge_ohm > 0.0;
        },
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { site.plant().fail_pre_charge(true); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().fail_pre_charge(false); }};

}  // namespace stillrotor
