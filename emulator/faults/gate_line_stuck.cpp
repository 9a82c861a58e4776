#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_gate, to_level};

}  // namespace

const Fault gate_line_stuck{
    .name = "gate_line_stuck",
    .text = "a gate's input at the driver is tied to a level, whatever the controller does",
    .options = options,
    .needs = gate_needs,
    .where = gate_where,
    .fits = gate_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, gate_line(s.word(0)), [&](LineFault& fault) {
            fault.stuck = true;
            fault.stuck_high = s.word(1) == 1;
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, gate_line(s.word(0)), [](LineFault& fault) { fault.stuck = false; });
        }};

}  // namespace stillrotor
