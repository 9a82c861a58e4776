#include "io/analog/spi_inputs.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace stillrotor::io {

SpiInputs::SpiInputs(SpiAdcConfig config, SystemCalls& calls, BusSeat seat)
    : config_(std::move(config)),
      setting_("converters." + config_.name),
      seat_(seat),
      device_(calls, config_.bus,
              {config_.part.frame_bytes, config_.part.low_byte_first, config_.part.mode},
              setting_) {
  const double volts_per_count =
      config_.reference_V / config_.gain / std::ldexp(1.0, config_.part.bits);
  for (const AnalogInput& input : config_.inputs) scales_.emplace_back(input, volts_per_count);
  // The frames behind the last question only fetch answers; they may ask the last one again.
  const std::size_t frames = scales_.size() + static_cast<std::size_t>(config_.part.frames_late);
  for (std::size_t k = 0; k < frames; ++k) {
    const AnalogInput& input = config_.inputs[std::min(k, scales_.size() - 1)];
    device_.set(k, config_.part.convert | input.address << config_.part.address_shift);
  }
}

void SpiInputs::open() {
  device_.open();
  if (const int error = read_round())
    throw ConfigError(setting_ + ".device", config_.bus.device + ": " + std::strerror(error) +
                                                " in the first round. Ask for a slower clock, or "
                                                "see dmesg.");
  thread_ = start_bus_thread(seat_, [this] { run(); });
}

void SpiInputs::close() noexcept {
  if (thread_.joinable()) {
    closing_.store(true);
    doorbell_.ring();
    thread_.join();
  }
  device_.close();
}

void SpiInputs::run() noexcept {
  const auto period_ns = static_cast<std::int64_t>(1e9 * config_.period_s);
  std::int64_t due_ns = monotonic_ns() + period_ns;
  while (!closing_.load()) {
    // The doorbell only rings to close.
    doorbell_.wait(std::max<std::int64_t>(due_ns - monotonic_ns(), 0));
    if (closing_.load()) return;
    read_round();
    due_ns = std::max(due_ns + period_ns, monotonic_ns());
  }
}

int SpiInputs::read_round() noexcept {
  const std::int64_t begun_ns = monotonic_ns();
  const auto late = static_cast<std::size_t>(config_.part.frames_late);
  const int error = device_.exchange(scales_.size() + late);
  InputRound round;
  round.at_ns = monotonic_ns();
  tally_.add(error, round.at_ns - begun_ns);
  if (error != 0) return error;
  const std::uint32_t mask = (1U << config_.part.bits) - 1;
  for (std::size_t k = 0; k < scales_.size(); ++k)
    round.volts[k] = scales_[k].wire_V(device_.got(k + late) >> config_.part.result_shift & mask);
  mailbox_.put(round);
  return 0;
}

}  // namespace stillrotor::io
