#include "emulator/cli/firmware_watch.hpp"

#include <fmt/format.h>

#include <utility>

#include "emulator/record/firmware_signals.hpp"
#include "emulator/record/record_reader.hpp"

namespace stillrotor {
namespace {

constexpr const char* path = "controller.watch";
constexpr double most_values = 64e6;  // they wait in memory: 256 MB

}  // namespace

const io::mcu::Watchable& watchable(const Bench& bench, const io::SimulatedController* controller) {
  if (const auto* found = dynamic_cast<const io::mcu::Watchable*>(controller)) return *found;
  throw io::ConfigError(path, fmt::format("variables are asked for, and the controller is {} {}; "
                                          "allowed: firmware on a simulated microcontroller "
                                          "(backend mcu).",
                                          bench.backend, bench.controller_kind));
}

std::vector<WatchedNumber> watched_numbers(const Bench& bench,
                                           const io::SimulatedController* controller) {
  std::vector<WatchedNumber> numbers;
  if (bench.firmware_watch.empty()) return numbers;
  const io::mcu::Variables variables = watchable(bench, controller).variables();
  for (const WatchEntry& entry : bench.firmware_watch)
    numbers.push_back(watched_number(entry, variables));
  return numbers;
}

FirmwareWatch::FirmwareWatch(const Bench& bench, const Scenario& scenario,
                             io::SimulatedController* controller)
    : numbers_(watched_numbers(bench, controller)), rate_Hz_(bench.record_rate_Hz) {
  if (numbers_.empty()) return;
  const double values = static_cast<double>(numbers_.size()) * rate_Hz_ *
                        static_cast<double>(scenario.lasts_ps) * 1e-12;
  if (values > most_values)
    throw io::ConfigError(
        path,
        fmt::format("{} variables at {:g} kHz through this scenario are {:.0f} million values; "
                    "allowed 64 million. Watch fewer, or lower record.rate.",
                    numbers_.size(), rate_Hz_ / 1e3, values / 1e6));
  std::vector<io::mcu::WatchedPlace> places;
  for (const WatchedNumber& number : numbers_) places.push_back(number.place);
  values_.emplace(std::move(places), rate_Hz_);
  dynamic_cast<io::mcu::Watchable&>(*controller).watch(*values_);
}

void FirmwareWatch::keep(const std::filesystem::path& folder) const {
  if (!values_) return;
  const std::size_t points = RecordReader(folder).frames();
  std::vector<FirmwareSignal> signals;
  for (std::size_t k = 0; k < numbers_.size(); ++k) {
    const WatchEntry& entry = numbers_[k].entry;
    FirmwareSignal signal{entry.name,
                          entry.type ? entry.written : entry.path + " " + numbers_[k].type,
                          values_->values()[k]};
    signal.values.resize(points, std::numeric_limits<float>::quiet_NaN());
    signals.push_back(std::move(signal));
  }
  add_firmware_signals(folder, rate_Hz_, signals);
}

}  // namespace stillrotor
