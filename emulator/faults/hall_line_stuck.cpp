#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg, to_level};

void set(FaultSite& site, const FaultSettings& settings, bool stuck) noexcept {
  LineFault fault = site.line(hall_line(settings.word(0)));
  fault.stuck = stuck;
  if (stuck) fault.stuck_high = settings.word(1) == 1;
  site.set_line(hall_line(settings.word(0)), fault);
}

}  // namespace

const Fault hall_line_stuck{
    .name = "hall_line_stuck",
    .text = "a Hall line is tied to a level at the controller's pin",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits = hall_is_wired,
    .begin = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s, true); },
    .end = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s, false); }};

}  // namespace stillrotor
