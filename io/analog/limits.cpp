#include "io/analog/limits.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "io/analog/calibration.hpp"

namespace stillrotor::io {
namespace {

double frame_s(int frame_bytes, const SpiBus& bus) { return 8.0 * frame_bytes / bus.clock_Hz; }

double message_s(std::size_t frames, int frame_bytes, const SpiBus& bus) {
  const auto count = static_cast<double>(frames);
  return bus.message_s + count * frame_s(frame_bytes, bus) + (count - 1.0) * bus.gap_s;
}

}  // namespace

AnalogLimits output_limits(const AnalogConfig& all, const SpiDacConfig& dac,
                           const AnalogOutput& output) {
  AnalogLimits limits;
  limits.transfer_s = message_s(dac.outputs.size(), dac.part.frame_bytes, dac.bus);
  limits.rate_Hz = 1.0 / limits.transfer_s;
  limits.delay_s = all.wake_s + limits.transfer_s + dac.part.settling_s;
  const bool together = dac.latch || dac.part.write_and_update_all;
  limits.spread_s = together ? 0.0
                             : static_cast<double>(dac.outputs.size() - 1) *
                                   (frame_s(dac.part.frame_bytes, dac.bus) + dac.bus.gap_s);
  limits.step_V = OutputScale(dac, output).step_V();
  return limits;
}

AnalogLimits input_limits(const AnalogConfig& all, const SpiAdcConfig& adc,
                          const AnalogInput& input) {
  const std::size_t frames = adc.inputs.size() + static_cast<std::size_t>(adc.part.frames_late);
  AnalogLimits limits;
  limits.transfer_s = message_s(frames, adc.part.frame_bytes, adc.bus);
  limits.rate_Hz = 1.0 / adc.period_s;
  limits.delay_s = input.filter_s + adc.period_s + all.wake_s + limits.transfer_s;
  limits.spread_s = static_cast<double>(adc.inputs.size() - 1) *
                    (frame_s(adc.part.frame_bytes, adc.bus) + adc.bus.gap_s);
  const double volts_per_count = adc.reference_V / adc.gain / std::ldexp(1.0, adc.part.bits);
  limits.step_V = InputScale(input, volts_per_count).step_V();
  return limits;
}

AnalogLimits input_limits(const AnalogConfig& all, const IioConfig& iio, const AnalogInput& input) {
  AnalogLimits limits;
  limits.rate_Hz = iio.sampling_Hz;
  limits.delay_s = iio.sampling_Hz > 0.0
                       ? input.filter_s + iio.watermark_scans / iio.sampling_Hz + all.wake_s
                       : std::numeric_limits<double>::infinity();
  return limits;
}

std::optional<VoltsRoute> volts_route(const AnalogConfig& config) {
  if (config.dacs.empty()) return std::nullopt;
  VoltsRoute route{.name = "spidev", .grounds = "frames, clock and gaps, declared in io/analog"};
  for (const SpiDacConfig& dac : config.dacs) {
    route.name += " " + dac.part.name;
    for (const AnalogOutput& output : dac.outputs) {
      const AnalogLimits limits = output_limits(config, dac, output);
      route.delay_s = std::max(route.delay_s, limits.delay_s);
      route.resolution_V = std::max(route.resolution_V, limits.step_V);
    }
  }
  return route;
}

std::optional<AveragesRoute> averages_route(const AnalogConfig& config) {
  if (config.adcs.empty() && config.iio.empty()) return std::nullopt;
  AveragesRoute route;
  route.fastest_filter_s = std::numeric_limits<double>::infinity();
  route.grounds = "filters, periods and frames, declared in io/analog";
  const auto add = [&](const auto& converter, const std::string& name) {
    route.name += (route.name.empty() ? "" : ", ") + name;
    for (const AnalogInput& input : converter.inputs) {
      route.delay_s = std::max(route.delay_s, input_limits(config, converter, input).delay_s);
      route.fastest_filter_s = std::min(route.fastest_filter_s, input.filter_s);
    }
  };
  for (const SpiAdcConfig& adc : config.adcs) add(adc, "spidev " + adc.part.name);
  for (const IioConfig& iio : config.iio) add(iio, "IIO " + iio.device);
  return route;
}

}  // namespace stillrotor::io
