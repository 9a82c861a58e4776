#include <algorithm>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "volts",
                                    .family = Family::voltage,
                                    .least = 0.0,
                                    .most = 60.0,
                                    .allowed = "0 V to 60 V",
                                    .example = "2.5 V"}};

}  // namespace

const Fault controller_brown_out{
    .name = "controller_brown_out",
    .text = "the controller's supply falls to this voltage, if it lies below its own",
    .options = options,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.set_controller_supply_V(std::min(s[0], site.bench().controller_supply_V));
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          site.set_controller_supply_V(site.bench().controller_supply_V);
        }};

}  // namespace stillrotor
