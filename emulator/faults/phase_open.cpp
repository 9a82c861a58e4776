#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg};

}  // namespace

const Fault phase_open{.name = "phase_open",
                       .text = "a motor cable comes off; the current in it is cut at once",
                       .options = options,
                       .begin =
                           [](FaultSite& site, const FaultSettings& s) noexcept {
                             site.plant().set_phase_open(leg_of(s.word(0)), true);
                           },
                       .end =
                           [](FaultSite& site, const FaultSettings& s) noexcept {
                             site.plant().set_phase_open(leg_of(s.word(0)), false);
                           }};

}  // namespace stillrotor
