#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg, to_level};

}  // namespace

const Fault hall_line_stuck{.name = "hall_line_stuck",
                            .text = "a Hall line is tied to a level at the controller's pin",
                            .options = options,
                            .needs = hall_needs,
                            .where = hall_where,
                            .fits = hall_is_wired,
                            .begin =
                                [](FaultSite& site, const FaultSettings& s) noexcept {
                                  change(site, hall_line(s.word(0)), [&](LineFault& fault) {
                                    fault.stuck = true;
                                    fault.stuck_high = s.word(1) == 1;
                                  });
                                },
                            .end =
                                [](FaultSite& site, const FaultSettings& s) noexcept {
                                  change(site, hall_line(s.word(0)),
                                         [](LineFault& fault) { fault.stuck = false; });
                                }};

}  // namespace stillrotor
