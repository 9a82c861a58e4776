#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

void hold(FaultSite& site, bool held) noexcept {
  change(site, io::line::encoder_Z, [&](LineFault& fault) { fault.held = held; });
}

}  // namespace

const Fault encoder_index_missing{
    .name = "encoder_index_missing",
    .text = "the index pulse stays away",
    .needs = encoder_needs,
    .where = encoder_where,
    .fits =
        [](const Bench& bench, const FaultSettings&) {
          return bench.drive.encoder.fitted && are_connected(bench, {io::line::encoder_Z}) &&
                 wires_start_here(bench);
        },
    .begin = [](FaultSite& site, const FaultSettings&) noexcept { hold(site, true); },
    .end = [](FaultSite& site, const FaultSettings&) noexcept { hold(site, false); }};

}  // namespace stillrotor
