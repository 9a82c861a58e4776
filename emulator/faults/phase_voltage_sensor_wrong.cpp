#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr FaultOption options[] = {which_voltage,
                                   {.name = "gain",
                                    .family = Family::ratio,
                                    .least = 0.0,
                                    .most = 5.0,
                                    .allowed = "0 to 5",
                                    .example = "0.8",
                                    .preset = "1"},
                                   {.name = "offset",
                                    .family = Family::voltage,
                                    .least = -1000.0,
                                    .most = 1000.0,
                                    .allowed = "-1000 V to 1000 V, of the terminal",
                                    .example = "2 V",
                                    .preset = "0 V"}};

void set(FaultSite& site, std::size_t word, double gain, double offset_V) noexcept {
  change(site, voltage_channel(word), [&](ChannelFault& fault) {
    fault.gain = gain;
    fault.pivot_V = 0.0;
    fault.offset_V = offset_V * site.bench().drive.phase_voltage.ratio;
  });
}

}  // namespace

const Fault phase_voltage_sensor_wrong{
    .name = "phase_voltage_sensor_wrong",
    .text =
        "a terminal's voltage, or the star point's, reads as this multiple of what it is, and so "
        "much more",
    .options = options,
    .needs = voltage_needs,
    .where = voltage_where,
    .fits = voltage_is_sensed,
    .begin = [](FaultSite& site,
                const FaultSettings& s) noexcept { set(site, s.word(0), s[1], s[2]); },
    .end = [](FaultSite& site,
              const FaultSettings& s) noexcept { set(site, s.word(0), 1.0, 0.0); }};

}  // namespace stillrotor
