#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg};

}  // namespace

const Fault hall_line_inverted{
    .name = "hall_line_inverted",
    .text = "a Hall line comes inverted: the wrong output of its switch, or its magnet side",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits = hall_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, hall_line(s.word(0)), [](LineFault& fault) { fault.inverted = true; });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, hall_line(s.word(0)), [](LineFault& fault) { fault.inverted = false; });
        }};

}  // namespace stillrotor
