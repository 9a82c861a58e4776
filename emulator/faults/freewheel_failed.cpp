#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 2> state_words{"slips", "locked"};
constexpr FaultOption options[] = {
    {.name = "state", .words = state_words, .allowed = "slips, locked", .example = "slips"}};

}  // namespace

const Fault freewheel_failed{.name = "freewheel_failed",
                             .text = "the freewheel slips when it should drive, or stays locked",
                             .options = options,
                             .needs = "a freewheel",
                             .where = "load.coupling",
                             .fits =
                                 [](const Bench& bench, const FaultSettings&) {
                                   return bench.drive.shaft.coupling == plant::Coupling::freewheel;
                                 },
                             .begin =
                                 [](FaultSite& site, const FaultSettings& s) noexcept {
                                   site.plant().set_freewheel(s.word(0) == 0
                                                                  ? plant::FreewheelFault::slips
                                                                  : plant::FreewheelFault::locked);
                                 },
                             .end =
                                 [](FaultSite& site, const FaultSettings&) noexcept {
                                   site.plant().set_freewheel(plant::FreewheelFault::none);
                                 }};

}  // namespace stillrotor
