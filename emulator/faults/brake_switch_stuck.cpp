#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 2> words{"released", "pressed"};
constexpr FaultOption options[] = {
    {.name = "position", .words = words, .allowed = "released, pressed", .example = "released"}};

}  // namespace

const Fault brake_switch_stuck{
    .name = "brake_switch_stuck",
    .text = "the brake switch stays as it is, whatever the driver does",
    .options = options,
    .needs = "a brake switch's wire",
    .where = "harness.brake",
    .fits = [](const Bench& bench,
               const FaultSettings&) { return are_connected(bench, {io::line::brake}); },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          change(site, io::line::brake, [&](LineFault& fault) {
            fault.held = true;
            fault.held_on = s.word(0) == 1;
          });
        },
    .end =
        [](FaultSite& site, const FaultSettings&) noexcept {
          change(site, io::line::brake, [](LineFault& fault) { fault.held = false; });
        }};

}  // namespace stillrotor
