#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

void set(FaultSite& site, bool lost) noexcept {
  for (std::size_t leg = 0; leg < 3; ++leg)
    change(site, hall_line(leg), [&](LineFault& fault) { fault.lifeless = lost; });
}

}  // namespace

const Fault hall_supply_lost{
    .name = "hall_supply_lost",
    .text = "the Halls' supply fails: open outputs let go, and the three pulls decide",
    .needs = hall_needs,
    .where = hall_where,
    .fits = halls_are_wired,
    .begin = [](FaultSite& site, const FaultSettings&) noexcept { set(site, true); },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { set(site, false); }};

}  // namespace stillrotor
