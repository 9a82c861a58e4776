// The analog wires from the sensors to the controller's pins, with what is wrong with them.
// RT: everything but the constructor is safe.
#pragma once

#include <array>
#include <cstdint>

#include "emulator/bench/bench.hpp"
#include "emulator/faults/fault_site.hpp"
#include "io/connector.hpp"

namespace stillrotor {

class AnalogWiring {
 public:
  AnalogWiring(const Bench&, std::uint64_t seed) noexcept;

  const ChannelFault& fault(io::ChannelId channel) const noexcept {
    return faults_[io::index(channel)];
  }
  void set_fault(io::ChannelId, const ChannelFault&) noexcept;
  /// Any fault at all.
  bool faulty() const noexcept { return faulty_; }

  /// At the controller's pin. sensed_V(channel): what the sensor of a channel says.
  template <class Sensed>
  double volts(io::ChannelId pin, std::int64_t t_ps, const Sensed& sensed_V) const noexcept {
    if (!faulty_) [[likely]]
      return sensed_V(pin);
    const io::ChannelId source = fault(pin).source.value_or(pin);
    return behind(source, sensed_V(source), t_ps);
  }

 private:
  struct Limits {
    double low_V, high_V;
  };
  double behind(io::ChannelId, double sensed_V, std::int64_t t_ps) const noexcept;

  std::array<ChannelFault, io::channel_count> faults_{};
  std::array<Limits, io::channel_count> limits_;  // of the sensors' own outputs
  std::uint64_t seed_;
  bool faulty_ = false;
};

}  // namespace stillrotor
