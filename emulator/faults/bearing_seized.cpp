#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {{.name = "torque",
                                    .family = Family::torque,
                                    .least = 1e-3,
                                    .most = 10e3,
                                    .allowed = "1 mNm to 10 kNm",
                                    .example = "5 Nm"}};

}  // namespace

const Fault bearing_seized{
    .name = "bearing_seized",
    .text = "a bearing grips: so much more friction on the motor's side, at any speed",
    .options = options,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { site.plant().set_bearing_friction_Nm(s[0]); },
    .end = [](FaultSite& site,
              const FaultSettings&) noexcept { site.plant().set_bearing_friction_Nm(0.0); }};

}  // namespace stillrotor
