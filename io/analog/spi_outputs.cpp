#include "io/analog/spi_outputs.hpp"

#include <cstring>

namespace stillrotor::io {

namespace {

constexpr std::int64_t idle_ns = 100'000'000;  // nothing hangs on it
constexpr std::int64_t retry_ns = 1'000'000;   // of safe levels that did not get through
constexpr int close_attempts = 5;

}  // namespace

SpiOutputs::SpiOutputs(SpiDacConfig config, SystemCalls& calls, BusSeat seat, Patience patience)
    : config_(std::move(config)),
      setting_("converters." + config_.name),
      seat_(seat),
      patience_(patience),
      device_(calls, config_.bus,
              {config_.part.frame_bytes, config_.part.low_byte_first, config_.part.mode},
              setting_) {
  if (config_.latch) latch_.emplace(calls, *config_.latch, setting_);
  for (const AnalogOutput& output : config_.outputs) {
    scales_.emplace_back(config_, output);
    safe_volts_.at[index(output.channel)] = output.safe_V;
  }
}

void SpiOutputs::open() {
  device_.open();
  if (latch_) latch_->open();
  for (const std::uint32_t word : config_.part.start) {
    device_.set(0, word);
    if (const int error = device_.exchange(1))
      throw ConfigError(setting_ + ".device", config_.bus.device + ": " + std::strerror(error) +
                                                  " in the first transfer. Ask for a slower clock, "
                                                  "or see dmesg.");
  }
  if (const int error = show(safe_volts_))
    throw ConfigError(setting_ + ".device",
                      config_.bus.device + ": " + std::strerror(error) +
                          " while the safe levels were sent. Ask for a slower "
                          "clock, or see dmesg.");
  clamped_ = 0;
  thread_ = start_bus_thread(seat_, [this] { run(); });
}

bool SpiOutputs::store(const ChannelVolts& volts) noexcept {
  mailbox_.put(volts);
  const std::uint32_t waiting = waiting_.fetch_add(1, std::memory_order_relaxed) + 1;
  doorbell_.ring();
  if (waiting > patience_.late_after) late_.fetch_add(1, std::memory_order_relaxed);
  return waiting <= patience_.stalled_after;
}

void SpiOutputs::make_safe() noexcept {
  safe_.store(true);
  doorbell_.ring();
}

void SpiOutputs::close() noexcept {
  if (thread_.joinable()) {
    safe_.store(true);
    closing_.store(true);
    doorbell_.ring();
    thread_.join();
  }
  if (latch_) latch_->close();
  device_.close();
}

void SpiOutputs::run() noexcept {
  bool safe_shown = false;
  for (int attempts_left = close_attempts;;) {
    if (safe_.load()) {
      safe_shown = safe_shown || show_safe();
      if (closing_.load() && (safe_shown || --attempts_left == 0)) return;
    } else if (mailbox_.look()) {
      show(mailbox_.value());
    }
    doorbell_.wait(safe_.load() && !safe_shown ? retry_ns : idle_ns);
  }
}

bool SpiOutputs::show_safe() noexcept { return show(safe_volts_) == 0; }

int SpiOutputs::show(const ChannelVolts& volts) noexcept {
  const DacPart& part = config_.part;
  for (std::size_t k = 0; k < scales_.size(); ++k) {
    const AnalogOutput& output = config_.outputs[k];
    const OutputScale::Code code = scales_[k].code(volts.at[index(output.channel)]);
    const bool last = k + 1 == scales_.size();
    const std::uint32_t command =
        last && !latch_ ? part.write_and_update_all.value_or(part.write) : part.write;
    device_.set(k, command | output.address << part.address_shift | code.value << part.code_shift);
    if (code.clamped && volts.powered) clamped_.fetch_add(1, std::memory_order_relaxed);
  }
  const std::int64_t begun_ns = monotonic_ns();
  int error = device_.exchange(scales_.size());
  if (error == 0 && latch_) error = latch_->pulse();
  tally_.add(error, monotonic_ns() - begun_ns);
  if (error == 0) waiting_.store(0, std::memory_order_relaxed);
  return error;
}

}  // namespace stillrotor::io
