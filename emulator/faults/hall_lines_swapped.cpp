#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_pair};

void ends_at(FaultSite& site, io::LineId pin, std::optional<io::LineId> source) noexcept {
  change(site, pin, [&](LineFault& fault) { fault.source = source; });
}

}  // namespace

const Fault hall_lines_swapped{.name = "hall_lines_swapped",
                               .text = "two Hall lines have changed places in the connector",
                               .options = options,
                               .needs = hall_needs,
                               .where = hall_where,
                               .fits = halls_are_wired,
                               .begin =
                                   [](FaultSite& site, const FaultSettings& s) noexcept {
                                     const io::LineId first = hall_line(s.word(0)),
                                                      second = hall_line((s.word(0) + 1) % 3);
                                     ends_at(site, first, second);
                                     ends_at(site, second, first);
                                   },
                               .end =
                                   [](FaultSite& site, const FaultSettings&) noexcept {
                                     for (std::size_t leg = 0; leg < 3; ++leg)
                                       ends_at(site, hall_line(leg), {});
                                   }};

}  // namespace stillrotor
