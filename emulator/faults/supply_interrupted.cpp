#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "time",
                                    .family = Family::time,
                                    .least = 1e-6,
                                    .most = 1.0,
                                    .allowed = "1 us to 1 s",
                                    .example = "2 ms"},
                                   {.name = "every",
                                    .family = Family::time,
                                    .least = 2e-6,
                                    .most = 10.0,
                                    .allowed = "2 us to 10 s, longer than time",
                                    .example = "10 ms",
                                    .preset = "10 s"},
                                   {.name = "count",
                                    .family = Family::ratio,
                                    .least = 1,
                                    .most = 1e6,
                                    .allowed = "1 to 1000000",
                                    .example = "5",
                                    .preset = "1"}};

}  // namespace

const Fault supply_interrupted{
    .name = "supply_interrupted",
    .text = "a connector bounces: the supply is apart for a time, again and again",
    .options = options,
    .conflict = [](const FaultSettings& s) noexcept -> std::string_view {
      if (s[2] != std::floor(s[2])) return "count is no whole number. Write for example count: 5.";
      if (s[1] <= s[0])
        return "every is not longer than time, so the supply would not close in between. Write a "
               "longer every, counted from opening to opening.";
      return {};
    },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          site.plant().bounce_supply(s[0], s[1], static_cast<int>(s[2]));
        },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().bounce_supply(0.0, 0.0, 0); }};

}  // namespace stillrotor
