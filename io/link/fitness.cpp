#include "io/link/fitness.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <utility>

namespace stillrotor::io {
namespace {

constexpr std::array<std::pair<std::uint32_t, const char*>, 7> line_names{
    {{CP_HALL_U, "hall.U"},
     {CP_HALL_V, "hall.V"},
     {CP_HALL_W, "hall.W"},
     {CP_ENCODER_A, "encoder.A"},
     {CP_ENCODER_B, "encoder.B"},
     {CP_ENCODER_Z, "encoder.Z"},
     {CP_FAULT, "driver.fault"}}};

/// A declared property of stamps, to be no better than the chip's own.
void require_declared(const char* what, double declared_s, std::uint32_t chip_ps) {
  const double chip_s = 1e-12 * chip_ps;
  if (declared_s >= 0.99 * chip_s) return;
  throw ConfigError(fmt::format("controller.link.{}", what),
                    fmt::format("controller.link.{} is {:.4g} ns, and the chip's is {:.4g} ns; "
                                "allowed no better than that. Write it into the bench, and check "
                                "again.",
                                what, declared_s * 1e9, chip_s * 1e9));
}

void require_its_hello(const LinkConfig& config, const lf_hello& chip) {
  if (chip.lowest_version > LF_VERSION || chip.highest_version < LF_VERSION)
    throw ConfigError("controller.link.address",
                      fmt::format("the chip speaks versions {} to {} of the link; allowed {}. "
                                  "Build its firmware from the same sources as this program.",
                                  chip.lowest_version, chip.highest_version, LF_VERSION));
  if (chip.parameter_bytes != LF_PARAMETER_BYTES)
    throw ConfigError("controller.link.address",
                      fmt::format("the chip expects {} bytes of parameters; allowed {}. Build its "
                                  "firmware from the same sources as this program.",
                                  chip.parameter_bytes, static_cast<int>(LF_PARAMETER_BYTES)));
  if (std::fabs(chip.tick_Hz / config.tick_Hz - 1.0) > 1e-6)
    throw ConfigError("controller.link.tick",
                      fmt::format("controller.link.tick is {:.9g} MHz, and the chip counts at "
                                  "{:.9g} MHz; allowed the same. Write the chip's.",
                                  config.tick_Hz * 1e-6, chip.tick_Hz * 1e-6));
  if (chip.channels < config.settings->parameters.channels)
    throw ConfigError("controller.link.address",
                      fmt::format("the bench wires channels up to number {} of the chip's "
                                  "converter, which has {}; allowed numbers below that. Change "
                                  "chip_channel, or fit another converter.",
                                  config.settings->parameters.channels - 1, chip.channels));
  const std::uint32_t missing = lines_needed(config.settings->parameters) & ~chip.lines;
  for (const auto& [bit, name] : line_names)
    if ((missing & bit) != 0)
      throw ConfigError("controller.link.address",
                        fmt::format("the bench needs the line {}, and the chip has none. Leave "
                                    "that sensor out of the bench, or fit the line.",
                                    name));
  require_declared("stamp_resolution", config.stamp_resolution_s, chip.resolution_ps);
  require_declared("stamp_jitter", config.stamp_jitter_s, chip.jitter_ps);
}

}  // namespace

std::uint32_t lines_needed(const cp_parameters& p) noexcept {
  std::uint32_t lines = 0;
  if (p.angle.halls != 0) lines |= CP_HALL_U | CP_HALL_V | CP_HALL_W;
  if (p.angle.encoder_counts != 0) lines |= CP_ENCODER_A | CP_ENCODER_B | CP_ENCODER_Z;
  if (p.trip.watches != 0) lines |= CP_FAULT;
  return lines;
}

void require_fit(const LinkConfig& config, const LinkStatus& status) {
  if (status.chip.role != 0) require_its_hello(config, status.chip);
  if (status.last_refusal == LF_BAD_PARAMETERS)
    throw ConfigError("controller.link.address",
                      "the chip refuses the parameters. Build its firmware from the same sources "
                      "as this program.");
  if (status.unfit)
    throw ConfigError("controller.link.address",
                      "what answers is no co-processor of this kind, or of another version. Check "
                      "the address.");
}

ConfigError no_answer(const LinkConfig& config, const LinkStatus& status,
                      const std::string& last_error) {
  const std::string where = fmt::format("controller.link.address is {}", config.address);
  if (status.linked || status.chip.role != 0)
    return {"controller.link.address",
            fmt::format("{}: the chip answers, and does not come to run within {:g} s ({} frames, "
                        "{} missed, {} spoilt). Look at the wire; or allow it more "
                        "controller.link.patience.",
                        where, config.patience_s, status.frames, status.missed_frames,
                        status.spoilt_frames)};
  return {"controller.link.address",
          fmt::format("{}: no co-processor has answered there within {:g} s{}. Is it powered, does "
                      "its program run, is the cable in, and no other program connected?",
                      where, config.patience_s,
                      last_error.empty() ? "" : fmt::format(" ({})", last_error))};
}

}  // namespace stillrotor::io
