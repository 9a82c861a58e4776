#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault angle_stuck{
    .name = "angle_stuck",
    .text = "an absolute angle sensor sends the angle of this moment for ever after",
    .needs = "an absolute angle sensor, wired from here",
    .where = "sensors.absolute_angle.output, controller.backend",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.absolute_angle.output != plant::AngleOutput::none &&
                 wires_start_here(bench);
        },
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { site.plant().set_angle_stuck(true); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_angle_stuck(false); }};

}  // namespace stillrotor
