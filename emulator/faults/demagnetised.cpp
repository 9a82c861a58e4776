#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "share",
                                    .family = Family::ratio,
                                    .least = 0.01,
                                    .most = 0.95,
                                    .allowed = "1 % to 95 %",
                                    .example = "20 %"}};

}  // namespace

const Fault demagnetised{
    .name = "demagnetised",
    .text = "the magnets lose a share of their flux at once, for good",
    .options = options,
    .needs = "a magnet machine",
    .where = "machine.kind",
    .fits = [](const Bench& bench, const FaultSettings&) { return !bench.drive.induction; },
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().demagnetise(s[0]); }};

}  // namespace stillrotor
