#include <cmath>

#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr double turn_rad = 6.283185307179586;
constexpr FaultOption options[] = {{.name = "angle",
                                    .family = Family::angle,
                                    .least = -turn_rad,
                                    .most = turn_rad,
                                    .allowed = "-360 deg to 360 deg",
                                    .example = "10 deg"},
                                   {.name = "within",
                                    .family = Family::time,
                                    .least = 1e-6,
                                    .most = 10.0,
                                    .allowed = "1 us to 10 s",
                                    .example = "10 ms",
                                    .preset = "10 ms"}};

std::int64_t counts_of(const FaultSite& site, double angle_rad) noexcept {
  return std::llround(std::abs(angle_rad) / turn_rad * 4.0 * site.bench().drive.encoder.lines);
}

}  // namespace

const Fault encoder_mount_slips{
    .name = "encoder_mount_slips",
    .text = "the encoder slips on the shaft by a mechanical angle, and stays there",
    .options = options,
    .needs = encoder_needs,
    .where = encoder_where,
    .fits = encoder_is_wired,
    .begin = [](FaultSite&, const FaultSettings&) noexcept {},
    .go_on =
        [](FaultSite& site, const FaultSettings& s, std::int64_t turn) noexcept {
          const std::int64_t counts = counts_of(site, s[0]);
          if (turn > 0) site.plant().slip_encoder(s[0] < 0.0 ? -1 : 1);
          return turn < counts ? in_s(site, s[1] / static_cast<double>(counts)) : Fault::never_ps;
        }};

}  // namespace stillrotor
