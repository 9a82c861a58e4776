#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

const Fault angle_sensor_error{
    .name = "angle_sensor_error",
    .text = "the absolute angle sensor reports itself faulty; its angle stays right",
    .needs = "an absolute angle sensor that has an error bit",
    .where = "sensors.absolute_angle.output, sensors.absolute_angle.error_bit",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          const plant::AbsoluteAngleParameters& angle = bench.drive.absolute_angle;
          return angle.output == plant::AngleOutput::spi ||
                 (angle.output == plant::AngleOutput::ssi && angle.ssi.error_bit);
        },
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { site.plant().set_angle_error(true); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_angle_error(false); }};

}  // namespace stillrotor
