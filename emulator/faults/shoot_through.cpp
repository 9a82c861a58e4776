#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg,
                                   {.name = "time",
                                    .family = Family::time,
                                    .least = 10e-9,
                                    .most = 10e-3,
                                    .allowed = "10 ns to 10 ms",
                                    .example = "2 us"}};

}  // namespace

const Fault shoot_through{
    .name = "shoot_through",
    .text = "both switches of a leg conduct for a time, whatever their gates do",
    .options = options,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().short_leg(leg_of(s.word(0)), s[1]);
        },
    .end = [](FaultSite& site,
              const FaultSettings& s) noexcept { site.plant().short_leg(leg_of(s.word(0)), 0.0); }};

}  // namespace stillrotor
