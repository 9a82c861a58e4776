#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg,
                                   {.name = "resistance",
                                    .family = Family::resistance,
                                    .least = 1e-3,
                                    .most = 100.0,
                                    .allowed = "1 mohm to 100 ohm",
                                    .example = "10 mohm"}};

bool fits(const Bench& bench, const FaultSettings&) {
  return bench.drive.bridge.switch_kind == plant::SwitchKind::mosfet && wires_start_here(bench);
}

}  // namespace

const Fault phase_ground_short{
    .name = "phase_ground_short",
    .text = "a motor cable touches what the negative rail stands on",
    .options = options,
    .needs = "MOSFETs in the bridge, computed here",
    .where = "bridge.kind, controller.backend",
    .fits = fits,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().ground_phase(leg_of(s.word(0)), s[1]);
        },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { site.plant().end_ground(); }};

}  // namespace stillrotor
