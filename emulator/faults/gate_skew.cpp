#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 3> edge_words{"on", "off", "both"};

constexpr FaultOption options[] = {
    which_gate,
    {.name = "edge", .words = edge_words, .allowed = "on, off, both", .example = "on"},
    {.name = "delay",
     .family = Family::time,
     .least = 0.0,
     .most = 10e-6,
     .allowed = "0 s to 10 us",
     .example = "200 ns"}};

}  // namespace

const Fault gate_skew{.name = "gate_skew",
                      .text = "a switch follows its line late: turning on, turning off, or both",
                      .options = options,
                      .begin =
                          [](FaultSite& site, const FaultSettings& s) noexcept {
                            const std::string_view edge = edge_words[s.word(1)];
                            site.plant().set_gate_skew(switch_of(s.word(0)),
                                                       edge == "off" ? 0.0 : s[2],
                                                       edge == "on" ? 0.0 : s[2]);
                          },
                      .end =
                          [](FaultSite& site, const FaultSettings& s) noexcept {
                            site.plant().set_gate_skew(switch_of(s.word(0)), 0.0, 0.0);
                          }};

}  // namespace stillrotor
