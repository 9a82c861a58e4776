#include "io/analog/analog.hpp"

#include <algorithm>
#include <atomic>
#include <deque>

#include "io/analog/iio_inputs.hpp"
#include "io/analog/spi_inputs.hpp"
#include "io/analog/spi_outputs.hpp"

namespace stillrotor::io {
struct AnalogPort::Buses {
  std::deque<SpiOutputs> dacs;
  std::deque<SpiInputs> adcs;
  std::deque<IioInputs> iio;
  std::atomic<bool> armed{false}, safe{false};
  std::int64_t armed_ns = 0;
};

AnalogPort::AnalogPort(AnalogConfig config, SystemCalls& calls)
    : config_(std::move(config)), buses_(std::make_unique<Buses>()) {
  check(config_);
  const BusSeat seat{config_.priority, config_.core};
  for (const SpiDacConfig& dac : config_.dacs)
    buses_->dacs.emplace_back(dac, calls, seat,
                              Patience{config_.late_after_stores, config_.stalled_after_stores});
  for (const SpiAdcConfig& adc : config_.adcs) buses_->adcs.emplace_back(adc, calls, seat);
  for (const IioConfig& iio : config_.iio) buses_->iio.emplace_back(iio, seat);
}

AnalogPort::~AnalogPort() { close(); }

void AnalogPort::open() {
  for (SpiOutputs& dac : buses_->dacs) dac.open();
  for (SpiInputs& adc : buses_->adcs) adc.open();
  for (IioInputs& iio : buses_->iio) iio.open();
}

void AnalogPort::arm(std::int64_t monotonic_ns) noexcept {
  buses_->armed_ns = monotonic_ns;
  buses_->armed.store(true);
}

bool AnalogPort::store(const std::array<double, channel_count>& volts, bool powered) noexcept {
  if (!buses_->armed.load() || buses_->safe.load()) return false;
  bool following = true;
  for (SpiOutputs& dac : buses_->dacs) following = dac.store({volts, powered}) && following;
  return following;
}

std::optional<std::size_t> AnalogPort::find_input(std::string_view name) const noexcept {
  std::size_t number = 0;
  const auto among = [&number, name](const std::vector<AnalogInput>& inputs) {
    for (const AnalogInput& input : inputs) {
      if (input.name == name) return true;
      ++number;
    }
    return false;
  };
  for (const SpiAdcConfig& adc : config_.adcs)
    if (among(adc.inputs)) return number;
  for (const IioConfig& iio : config_.iio)
    if (among(iio.inputs)) return number;
  return std::nullopt;
}

AnalogReading AnalogPort::latest(std::size_t input) noexcept {
  const auto from = [this, &input](const InputRound& round) -> AnalogReading {
    if (round.at_ns == 0) return {};
    return {round.volts[input], Time{1000 * (round.at_ns - buses_->armed_ns)}, true};
  };
  for (std::size_t k = 0; k < buses_->adcs.size(); ++k) {
    if (input < config_.adcs[k].inputs.size()) return from(buses_->adcs[k].look());
    input -= config_.adcs[k].inputs.size();
  }
  for (std::size_t k = 0; k < buses_->iio.size(); ++k) {
    if (input < config_.iio[k].inputs.size()) return from(buses_->iio[k].look());
    input -= config_.iio[k].inputs.size();
  }
  return {};
}

void AnalogPort::make_safe() noexcept {
  buses_->safe.store(true);
  for (SpiOutputs& dac : buses_->dacs) dac.make_safe();
}

void AnalogPort::close() noexcept {
  make_safe();
  for (SpiOutputs& dac : buses_->dacs) dac.close();
  for (SpiInputs& adc : buses_->adcs) adc.close();
  for (IioInputs& iio : buses_->iio) iio.close();
}

AnalogCounts AnalogPort::counts() const noexcept {
  AnalogCounts counts;
  const auto add = [&counts](const BusTally& tally) {
    counts.transfers += tally.transfers.load();
    counts.failed_transfers += tally.failed.load();
    counts.longest_ns = std::max(counts.longest_ns, tally.longest_ns.load());
    if (const int error = tally.latest_error.load()) counts.latest_error = error;
  };
  for (const SpiOutputs& dac : buses_->dacs) {
    add(dac.tally());
    counts.late += dac.late();
    counts.clamped += dac.clamped();
  }
  for (const SpiInputs& adc : buses_->adcs) add(adc.tally());
  for (const IioInputs& iio : buses_->iio) add(iio.tally());
  return counts;
}

}  // namespace stillrotor::io
