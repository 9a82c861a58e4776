#include "emulator/virtual_time/analog_wiring.hpp"

#include <algorithm>

#include "plant/sensors/noise.hpp"

namespace stillrotor {

AnalogWiring::AnalogWiring(const Bench& bench, std::uint64_t seed) noexcept : seed_(seed) {
  const plant::DriveParameters& drive = bench.drive;
  const auto set = [this](io::ChannelId from, std::size_t count, double low_V, double high_V) {
    std::fill_n(limits_.begin() + static_cast<std::ptrdiff_t>(io::index(from)), count,
                Limits{low_V, high_V});
  };
  namespace channel = io::channel;
  set(channel::throttle, io::channel_count, 0.0, 6.0);
  set(channel::phase_current_U, 3, drive.phase_current.low_limit_V,
      drive.phase_current.high_limit_V);
  set(channel::dc_link_current, 1, drive.dc_link_current.low_limit_V,
      drive.dc_link_current.high_limit_V);
  set(channel::bus_voltage, 1, drive.bus_voltage.low_limit_V, drive.bus_voltage.high_limit_V);
  for (const io::ChannelId first : {channel::phase_voltage_U, channel::star_point})
    set(first, first == channel::star_point ? 1 : 3, drive.phase_voltage.low_limit_V,
        drive.phase_voltage.high_limit_V);
  set(channel::angle_sin, 2, drive.sin_cos.low_limit_V, drive.sin_cos.high_limit_V);
  set(channel::temperature_motor, 1, 0.0, drive.temperature[0].supply_V);
  set(channel::temperature_bridge, 1, 0.0, drive.temperature[1].supply_V);
}

void AnalogWiring::set_fault(io::ChannelId channel, const ChannelFault& fault) noexcept {
  faults_[io::index(channel)] = fault;
  faulty_ = std::any_of(faults_.begin(), faults_.end(),
                        [](const ChannelFault& f) { return f != ChannelFault{}; });
}

double AnalogWiring::behind(io::ChannelId channel, double sensed_V,
                            std::int64_t t_ps) const noexcept {
  const ChannelFault& f = fault(channel);
  if (f.shorted_V) return *f.shorted_V;
  if (f.open_V) return *f.open_V;
  if (f.stuck_V) return *f.stuck_V;
  double v = f.gain == 1.0 ? sensed_V : f.pivot_V + f.gain * (sensed_V - f.pivot_V);
  v += f.offset_V + f.drift_V_per_s * 1e-12 * static_cast<double>(t_ps - f.since_ps);
  if (f.noise_V > 0.0)
    v += f.noise_V * plant::noise_at(plant::mixed(seed_ + io::index(channel)),
                                     plant::NoiseOf::channel_fault, t_ps);
  const Limits& limits = limits_[io::index(channel)];
  return std::clamp(std::clamp(v, f.low_V, f.high_V), limits.low_V, limits.high_V);
}

}  // namespace stillrotor
