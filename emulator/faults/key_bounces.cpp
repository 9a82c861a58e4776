#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "number",
                                    .family = Family::ratio,
                                    .least = 1.0,
                                    .most = 100.0,
                                    .allowed = "1 to 100",
                                    .example = "5",
                                    .preset = "5"},
                                   {.name = "period",
                                    .family = Family::time,
                                    .least = 1e-6,
                                    .most = 1.0,
                                    .allowed = "1 us to 1 s",
                                    .example = "2 ms",
                                    .preset = "2 ms"}};

void set(FaultSite& site, bool bounced) noexcept {
  change(site, io::line::key, [&](LineFault& fault) { fault.disturbed = bounced; });
  site.set_key_contact(site.key_on() != bounced);
}

}  // namespace

const Fault key_bounces{
    .name = "key_bounces",
    .text = "the key's contact opens and closes again a number of times, or closes and opens",
    .options = options,
    .begin = [](FaultSite&, const FaultSettings&) noexcept {},
    .end = [](FaultSite& site, const FaultSettings&) noexcept { set(site, false); },
    .go_on =
        [](FaultSite& site, const FaultSettings& s, std::int64_t turn) noexcept {
          if (turn == 2 * std::llround(s[0])) return Fault::never_ps;
          set(site, turn % 2 == 0);
          return in_s(site, 0.5 * s[1]);
        }};

}  // namespace stillrotor
