#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {
    {.name = "line", .words = leg_words, .allowed = "U, V, W", .example = "U"},
    {.name = "share",
     .family = Family::ratio,
     .least = 0.01,
     .most = 0.5,
     .allowed = "1 % to 50 %",
     .example = "5 %"},
    {.name = "resistance",
     .family = Family::resistance,
     .least = 0.1e-3,
     .most = 1.0,
     .allowed = "0.1 mohm to 1 ohm",
     .example = "1 mohm"}};

}  // namespace

const Fault turn_short{
    .name = "turn_short",
    .text =
        "a share of a winding's turns is shorted, one winding at a time; delta: of U-V, V-W, W-U",
    .options = options,
    .needs = "three equal windings",
    .where = "machine.resistance_factor, machine.turns_factor",
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          const auto& m = bench.drive.machine;
          return m.equal_turns() && m.resistance_factor[0] == m.resistance_factor[1] &&
                 m.resistance_factor[1] == m.resistance_factor[2];
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().short_turns(leg_of(s.word(0)), s[1], s[2]);
        },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().end_short(plant::ShortPlace::turns); }};

}  // namespace stillrotor
