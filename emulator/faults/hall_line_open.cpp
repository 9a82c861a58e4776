#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg};

void set(FaultSite& site, const FaultSettings& settings, bool open) noexcept {
  LineFault fault = site.line(hall_line(settings.word(0)));
  fault.open = open;
  site.set_line(hall_line(settings.word(0)), fault);
}

}  // namespace

const Fault hall_line_open{
    .name = "hall_line_open",
    .text = "the wire of a Hall line breaks: its pull decides what the controller reads",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits = hall_is_wired,
    .begin = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s, true); },
    .end = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s, false); }};

}  // namespace stillrotor
