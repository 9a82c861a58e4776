#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "share",
                                    .family = Family::ratio,
                                    .least = 0.0,
                                    .most = 0.5,
                                    .allowed = "0 % to 50 %",
                                    .example = "2 %"}};

}  // namespace

const Fault encoder_counts_lost{
    .name = "encoder_counts_lost",
    .text = "dirt on the disc: so many of its lines give no pulse, the same ones in each turn",
    .options = options,
    .needs = encoder_needs,
    .where = encoder_where,
    .fits = encoder_is_wired,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_encoder_dirty_share(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_encoder_dirty_share(0.0); }};

}  // namespace stillrotor
