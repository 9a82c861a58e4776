#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault rotor_locked{
    .name = "rotor_locked",
    .text = "the rotor jams: it stands at once, whatever torque that takes",
    .needs = "a rotor whose speed nothing imposes",
    .where = "load.kind, controller.backend",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.shaft.hold == plant::Hold::none &&
                 bench.drive.shaft.hold_gain_Nm_s_per_rad <= 0.0 && bench.backend != "capture";
        },
    .begin =
        [](FaultSite& site, const FaultSettings&) noexcept {
          site.plant().hold_speed_rad_s({0.0, 0.0});
        },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { site.plant().release_speed(); }};

}  // namespace stillrotor
