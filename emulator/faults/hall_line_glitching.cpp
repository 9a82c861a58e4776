#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_leg,
                                   {.name = "rate",
                                    .family = Family::frequency,
                                    .least = 0.1,
                                    .most = 100e3,
                                    .allowed = "0.1 Hz to 100 kHz",
                                    .example = "500 Hz"},
                                   {.name = "width",
                                    .family = Family::time,
                                    .least = 10e-9,
                                    .most = 1e-3,
                                    .allowed = "10 ns to 1 ms",
                                    .example = "2 us"}};

void disturb(FaultSite& site, const FaultSettings& s, bool disturbed) noexcept {
  change(site, hall_line(s.word(0)), [&](LineFault& fault) { fault.disturbed = disturbed; });
}

}  // namespace

const Fault hall_line_glitching{
    .name = "hall_line_glitching",
    .text = "short false pulses on a Hall line, at random moments: `rate` a second on average",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits = hall_is_wired,
    .begin = [](FaultSite&, const FaultSettings&) noexcept {},
    .end = [](FaultSite& site, const FaultSettings& s) noexcept { disturb(site, s, false); },
    .go_on =
        [](FaultSite& site, const FaultSettings& s, std::int64_t turn) noexcept {
          const bool begins = turn % 2 == 1;
          disturb(site, s, begins);
          const double wait_s =
              begins ? s[2] : -std::log(site.share(hall_line(s.word(0)), turn)) / s[1];
          return in_s(site, wait_s);
        }};

}  // namespace stillrotor
