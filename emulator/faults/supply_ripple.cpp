#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "amplitude",
                                    .family = Family::voltage,
                                    .least = 1e-3,
                                    .most = 100.0,
                                    .allowed = "1 mV to 100 V",
                                    .example = "2 V"},
                                   {.name = "frequency",
                                    .family = Family::frequency,
                                    .least = 1.0,
                                    .most = 20e3,
                                    .allowed = "1 Hz to 20 kHz",
                                    .example = "300 Hz"}};

}  // namespace

const Fault supply_ripple{
    .name = "supply_ripple",
    .text = "a sine on the supply's voltage: a charger, another drive on the same pack",
    .options = options,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_supply_ripple(s[0], s[1]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_supply_ripple(0.0, 1.0); }};

}  // namespace stillrotor
