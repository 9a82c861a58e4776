#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg};

}  // namespace

const Fault bootstrap_lost{
    .name = "bootstrap_lost",
    .text = "a bootstrap diode opens: the high switch dies when its capacitor has run down",
    .options = options,
    .needs = "bootstrap supplies",
    .where = "bridge.driver.bootstrap.capacitance",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.gate_driver.bootstrap.capacitance_F > 0.0;
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_bootstrap_open(leg_of(s.word(0)), true);
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_bootstrap_open(leg_of(s.word(0)), false);
        }};

}  // namespace stillrotor
