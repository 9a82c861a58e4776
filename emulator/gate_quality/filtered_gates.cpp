#include "emulator/gate_quality/filtered_gates.hpp"

#include <algorithm>
#include <cmath>

#include "io/analog/limits.hpp"

namespace stillrotor {
namespace {

/// From a wire's change behind its filter to the cycle, at worst.
double slowest_reading_s(const io::AnalogConfig& analog) {
  double slowest_s = 0.0;
  const auto look = [&](const auto& converter) {
    for (const io::AnalogInput& input : converter.inputs)
      slowest_s =
          std::max(slowest_s, io::input_limits(analog, converter, input).delay_s - input.filter_s);
  };
  for (const io::SpiAdcConfig& adc : analog.adcs) look(adc);
  for (const io::IioConfig& iio : analog.iio) look(iio);
  return slowest_s;
}

io::Time time(double s) { return io::Time{std::llround(s * 1e12)}; }

}  // namespace

FilteredGates::FilteredGates(const Bench& bench)
    : settings_(bench.cycle.gates.filtered.value()),
      old_after_(time(2.0 * (slowest_reading_s(bench.analog) + bench.cycle.period_s))),
      dead_after_(10 * old_after_) {}

void FilteredGates::take(const io::GateVolts& volts, io::Time now) noexcept {
  GateShares shares{};
  io::Time oldest = now;
  bool all = true;
  const std::size_t step = settings_.complementary ? 2 : 1;
  for (std::size_t k = 0; k < volts.size(); k += step) {
    all = all && volts[k].valid;
    oldest = std::min(oldest, volts[k].at);
    shares[k] = share_of(volts[k].volts, settings_.off_V, settings_.on_V);
    if (shares[k] <= settings_.tolerance) shares[k] = 0.0;
    if (shares[k] >= 1.0 - settings_.tolerance) shares[k] = 1.0;
  }
  age_ = all ? now - oldest : now;
  if (!all) return;
  shares_ = settings_.complementary ? complementary(shares[0], shares[2], shares[4]) : shares;
}

}  // namespace stillrotor
