#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

/// Whose wires end at A and at B.
void cross(FaultSite& site, std::optional<io::LineId> at_A,
           std::optional<io::LineId> at_B) noexcept {
  change(site, encoder_line(0), [&](LineFault& fault) { fault.source = at_A; });
  change(site, encoder_line(1), [&](LineFault& fault) { fault.source = at_B; });
}

}  // namespace

const Fault encoder_lines_swapped{
    .name = "encoder_lines_swapped",
    .text = "A and B have changed places: the encoder counts backwards",
    .needs = encoder_needs,
    .where = encoder_where,
    .fits = encoder_is_wired,
    .begin = [](FaultSite& site,
                const FaultSettings&) noexcept { cross(site, encoder_line(1), encoder_line(0)); },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { cross(site, {}, {}); }};

}  // namespace stillrotor
