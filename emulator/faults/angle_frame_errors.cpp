#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "probability",
                                    .family = Family::ratio,
                                    .least = 0.0,
                                    .most = 1.0,
                                    .allowed = "0 to 1, of each bit",
                                    .example = "0.001"}};

}  // namespace

const Fault angle_frame_errors{
    .name = "angle_frame_errors",
    .text = "bits of an absolute angle arrive wrong, each with a probability; its check bits too",
    .options = options,
    .needs = "an absolute angle sensor that is clocked, wired from here",
    .where = "sensors.absolute_angle.output, controller.backend",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          const plant::AngleOutput output = bench.drive.absolute_angle.output;
          return (output == plant::AngleOutput::ssi || output == plant::AngleOutput::spi) &&
                 wires_start_here(bench);
        },
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_angle_bit_errors(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_angle_bit_errors(0.0); }};

}  // namespace stillrotor
