#include "emulator/cli/firmware_watch.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "emulator/bench/nearest.hpp"
#include "emulator/record/firmware_signals.hpp"
#include "emulator/record/record_reader.hpp"

namespace stillrotor {
namespace {

using io::mcu::Variable;
using io::mcu::WatchedPlace;

constexpr const char* path = "controller.watch";
constexpr double most_values = 64e6;  // they wait in memory: 256 MB

WatchedPlace place_of(const WatchEntry& entry, const std::vector<Variable>& variables) {
  const auto is_it = [&](const Variable& v) { return v.name == entry.symbol; };
  const auto found = std::find_if(variables.begin(), variables.end(), is_it);
  const auto refuse = [&](const std::string& why) {
    throw io::ConfigError(path, fmt::format("{} is \"{}\": {}", entry.name, entry.written, why));
  };
  if (found == variables.end()) {
    std::vector<std::string> names;
    for (const Variable& v : variables) names.push_back(v.name);
    const std::string near = nearest(entry.symbol, names);
    refuse(fmt::format(
        "the firmware has no variable {} in RAM.{} Global and static variables that "
        "the compiler has kept can be watched, by the names in the file's symbol table.",
        entry.symbol, near.empty() ? "" : fmt::format(" Did you mean {}?", near)));
  }
  if (std::find_if(found + 1, variables.end(), is_it) != variables.end())
    refuse(
        fmt::format("the firmware has several variables {}. Rename one, or give it to the linker "
                    "as a global one.",
                    entry.symbol));
  const std::uint64_t end = std::uint64_t{entry.offset} + bytes_of(entry.type);
  if (end > found->bytes)
    refuse(fmt::format("{} has {} bytes, and these would end at byte {}.", entry.symbol,
                       found->bytes, end));
  return {found->address + entry.offset, entry.type};
}

}  // namespace

FirmwareWatch::FirmwareWatch(const Bench& bench, const Scenario& scenario,
                             io::SimulatedController* controller)
    : entries_(bench.firmware_watch), rate_Hz_(bench.record_rate_Hz) {
  if (entries_.empty()) return;
  auto* const watchable = dynamic_cast<io::mcu::Watchable*>(controller);
  if (watchable == nullptr)
    throw io::ConfigError(path,
                          fmt::format("variables are named, and the controller is {} {}; "
                                      "allowed: firmware on a simulated Cortex-M4F. Remove it.",
                                      bench.backend, bench.controller_kind));
  const double values = static_cast<double>(entries_.size()) * rate_Hz_ *
                        static_cast<double>(scenario.lasts_ps) * 1e-12;
  if (values > most_values)
    throw io::ConfigError(
        path,
        fmt::format("{} variables at {:g} kHz through this scenario are {:.0f} million values; "
                    "allowed 64 million. Watch fewer, or lower record.rate.",
                    entries_.size(), rate_Hz_ / 1e3, values / 1e6));
  const std::vector<Variable> variables = watchable->variables();
  std::vector<WatchedPlace> places;
  for (const WatchEntry& entry : entries_) places.push_back(place_of(entry, variables));
  values_.emplace(std::move(places), rate_Hz_);
  watchable->watch(*values_);
}

void FirmwareWatch::keep(const std::filesystem::path& folder) const {
  if (!values_) return;
  const std::size_t points = RecordReader(folder).frames();
  std::vector<FirmwareSignal> signals;
  for (std::size_t k = 0; k < entries_.size(); ++k) {
    FirmwareSignal signal{entries_[k].name, entries_[k].written, values_->values()[k]};
    signal.values.resize(points, std::numeric_limits<float>::quiet_NaN());
    signals.push_back(std::move(signal));
  }
  add_firmware_signals(folder, rate_Hz_, signals);
}

}  // namespace stillrotor
