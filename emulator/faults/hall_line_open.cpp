#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg};

}  // namespace

const Fault hall_line_open{
    .name = "hall_line_open",
    .text = "the wire of a Hall line breaks: its pull decides what the controller reads",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits = hall_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, hall_line(s.word(0)), [](LineFault& fault) { fault.open = true; });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, hall_line(s.word(0)), [](LineFault& fault) { fault.open = false; });
        }};

}  // namespace stillrotor
