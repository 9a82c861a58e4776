#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/channel_options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 2> words{"sin", "cos"};
constexpr FaultOption options[] = {
    {.name = "signal", .words = words, .allowed = "sin, cos", .example = "sin", .which = true},
    {.name = "amplitude",
     .family = Family::ratio,
     .least = 0.0,
     .most = 2.0,
     .allowed = "0 to 2, of what it was",
     .example = "0.8",
     .preset = "1"},
    {.name = "offset",
     .family = Family::voltage,
     .least = -5.0,
     .most = 5.0,
     .allowed = "-5 V to 5 V",
     .example = "50 mV",
     .preset = "0 V"},
    {.name = "phase",
     .family = Family::angle,
     .least = -1.5707963267948966,
     .most = 1.5707963267948966,
     .allowed = "-90 deg to 90 deg of the period",
     .example = "5 deg",
     .preset = "0 deg"}};

struct Wave {
  double amplitude = 1.0, offset_V = 0.0, phase_rad = 0.0;
};

io::ChannelId channel_of(const FaultSettings& s) noexcept {
  return s.word(0) == 0 ? io::channel::angle_sin : io::channel::angle_cos;
}

void set(FaultSite& site, const FaultSettings& s, const Wave& wave) noexcept {
  change(site, channel_of(s), [&](ChannelFault& fault) {
    fault.gain = wave.amplitude;
    fault.pivot_V = site.bench().drive.sin_cos.offset_V;
    fault.offset_V = wave.offset_V;
  });
  site.plant().set_sin_cos_shift_rad(static_cast<int>(s.word(0)), wave.phase_rad);
}

}  // namespace

const Fault sin_cos_degraded{
    .name = "sin_cos_degraded",
    .text = "sine or cosine of an angle sensor loses amplitude, gains an offset, runs ahead",
    .options = options,
    .needs = "this wire of a sine and cosine sensor, from here",
    .where = "sensors.sin_cos, harness.channels, controller.backend",
    .fits =
        [](const Bench& bench, const FaultSettings& s) {
          return bench.drive.sin_cos.fitted && is_wired(bench, channel_of(s)) &&
                 wires_start_here(bench);
        },
    .begin =
        [](FaultSite& site, const FaultSettings& s) noexcept {
          set(site, s, {.amplitude = s[1], .offset_V = s[2], .phase_rad = s[3]});
        },
    .end = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s, {}); }};

}  // namespace stillrotor
