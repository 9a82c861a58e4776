#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg,
                                   {.name = "resistance",
                                    .family = Family::resistance,
                                    .least = 0.0,
                                    .most = 100.0,
                                    .allowed = "0 ohm to 100 ohm",
                                    .example = "50 mohm"}};

}  // namespace

const Fault bad_joint{
    .name = "bad_joint",
    .text =
        "a joint goes bad: so much resistance in series with a winding; delta: of U-V, V-W, "
        "W-U",
    .options = options,
    .needs = "a magnet machine without flux map",
    .where = "machine.kind, machine.flux_map",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return !bench.drive.induction && bench.drive.machine.flux_map.psi_d_Wb.empty();
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_joint_ohm(leg_of(s.word(0)), s[1]);
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().set_joint_ohm(leg_of(s.word(0)), 0.0);
        }};

}  // namespace stillrotor
