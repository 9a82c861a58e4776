#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 3> body_words{"winding", "magnet", "heatsink"};
constexpr FaultOption options[] = {{.name = "heated",
                                    .words = body_words,
                                    .allowed = "winding, magnet, heatsink",
                                    .example = "winding",
                                    .which = true},
                                   {.name = "reaches",
                                    .family = Family::temperature,
                                    .least = 233.15,
                                    .most = 573.15,
                                    .allowed = "-40 degC to 300 degC",
                                    .example = "140 degC"}};

}  // namespace

const Fault over_temperature{
    .name = "over_temperature",
    .text = "a body is as hot as this at once; fitted heat paths then cool it",
    .options = options,
    .begin = [](FaultSite& site, const FaultSettings& s) noexcept {
      site.plant().set_temperature_C(static_cast<plant::TemperatureNode>(s.word(0)), s[1] - 273.15);
    }};

}  // namespace stillrotor
