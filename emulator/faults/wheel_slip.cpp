#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "grip",
                                    .family = Family::ratio,
                                    .least = 0.01,
                                    .most = 1.0,
                                    .allowed = "1 % to 100 %",
                                    .example = "10 %"}};

}  // namespace

const Fault wheel_slip{
    .name = "wheel_slip",
    .text = "the road gives so little grip: a share of the tyre's own is left",
    .options = options,
    .needs = "a tyre that slips",
    .where = "load.coupling",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.shaft.coupling == plant::Coupling::slipping;
        },
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_grip_share(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_grip_share(1.0); }};

}  // namespace stillrotor
