#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_gate};

}  // namespace

const Fault gate_line_open{
    .name = "gate_line_open",
    .text = "the wire of a gate breaks between controller and driver: its pull decides",
    .options = options,
    .needs = gate_needs,
    .where = gate_where,
    .fits = gate_is_wired,
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, gate_line(s.word(0)), [](LineFault& fault) { fault.open = true; });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, gate_line(s.word(0)), [](LineFault& fault) { fault.open = false; });
        }};

}  // namespace stillrotor
