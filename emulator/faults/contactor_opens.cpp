#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault contactor_opens{
    .name = "contactor_opens",
    .text = "the contactor opens under load and stays open, whatever it is told",
    .needs = "a contactor",
    .where = "contactor.fitted",
    .fits = [](const Bench& bench, const FaultSettings&) { return bench.drive.contactor.fitted; },
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { site.plant().fail_contactor(true); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().fail_contactor(false); }};

}  // namespace stillrotor
