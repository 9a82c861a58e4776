#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_encoder_line};

}  // namespace

const Fault encoder_line_open{
    .name = "encoder_line_open",
    .text = "the wire of an encoder line breaks: its pull decides",
    .options = options,
    .needs = encoder_needs,
    .where = encoder_where,
    .fits =
        [](const Bench& bench, const FaultSettings& s) {
          return bench.drive.encoder.fitted && are_connected(bench, {encoder_line(s.word(0))}) &&
                 wires_start_here(bench);
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, encoder_line(s.word(0)), [](LineFault& fault) { fault.open = true; });
        },
    .end =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, encoder_line(s.word(0)), [](LineFault& fault) { fault.open = false; });
        }};

}  // namespace stillrotor
