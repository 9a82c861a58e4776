#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "share",
                                    .family = Family::ratio,
                                    .least = 0.0,
                                    .most = 1.0,
                                    .allowed = "0 % to 100 %",
                                    .example = "70 %"}};

}  // namespace

const Fault supply_sag{
    .name = "supply_sag",
    .text = "the supply gives only a share of its voltage",
    .options = options,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_supply_share(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_supply_share(1.0); }};

}  // namespace stillrotor
