// The bench's controller.watch in a run: which variables, where they lie, what they were.
#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/cli/watched_place.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// Throws io::ConfigError: that controller's variables cannot be looked at.
const io::mcu::Watchable& watchable(const Bench&, const io::SimulatedController*);
/// What the bench watches, each found in the firmware's file. Throws io::ConfigError: one is not
/// there, or the controller cannot be looked into.
std::vector<WatchedNumber> watched_numbers(const Bench&, const io::SimulatedController*);

class FirmwareWatch {
 public:
  /// Nothing where the bench watches nothing. Throws io::ConfigError: as
  /// watched_numbers(), or more than fits.
  FirmwareWatch(const Bench&, const Scenario&, io::SimulatedController*);

  /// Into the record of that folder, which is closed; as long as it has points. Throws
  /// std::runtime_error.
  void keep(const std::filesystem::path& folder) const;

 private:
  std::vector<WatchedNumber> numbers_;
  double rate_Hz_ = 0.0;
  std::optional<io::mcu::WatchedValues> values_;
};

}  // namespace stillrotor
