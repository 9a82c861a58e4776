#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "resistance",
                                    .family = Family::resistance,
                                    .least = 1e-3,
                                    .most = 100.0,
                                    .allowed = "1 mohm to 100 ohm",
                                    .example = "100 mohm"}};

}  // namespace

const Fault supply_weak{
    .name = "supply_weak",
    .text = "a bad joint or an aged pack: so much more resistance between supply and link",
    .options = options,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_supply_more_ohm(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_supply_more_ohm(0.0); }};

}  // namespace stillrotor
