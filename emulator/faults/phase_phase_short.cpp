#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_pair,
                                   {.name = "resistance",
                                    .family = Family::resistance,
                                    .least = 1e-3,
                                    .most = 1.0,
                                    .allowed = "1 mohm to 1 ohm",
                                    .example = "10 mohm"},
                                   {.name = "inductance",
                                    .family = Family::inductance,
                                    .least = 0.1e-6,
                                    .most = 100e-6,
                                    .allowed = "0.1 uH to 100 uH",
                                    .example = "1 uH",
                                    .preset = "1 uH"}};

}  // namespace

const Fault phase_phase_short{.name = "phase_phase_short",
                              .text = "two motor cables touch: terminals shorted to one another",
                              .options = options,
                              .begin =
                                  [](FaultSite& site, const FaultSettings& s) noexcept {
                                    site.plant().short_phases(leg_of(s.word(0)), s[1], s[2]);
                                  },
                              .end =
                                  [](FaultSite& site, const FaultSettings&) noexcept {
                                    site.plant().end_short(plant::ShortPlace::phases);
                                  }};

}  // namespace stillrotor
