// The bench's controller.watch in a run: which variables, where they lie, what they were.
#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/connector.hpp"

namespace stillrotor {

class FirmwareWatch {
 public:
  /// Nothing where the bench watches nothing. Throws io::ConfigError: a variable that the firmware
  /// does not have, a controller that cannot be looked into, more than fits.
  FirmwareWatch(const Bench&, const Scenario&, io::SimulatedController*);

  /// Into the record of that folder, which is closed; as long as it has points. Throws
  /// std::runtime_error.
  void keep(const std::filesystem::path& folder) const;

 private:
  std::vector<WatchEntry> entries_;
  double rate_Hz_ = 0.0;
  std::optional<io::mcu::WatchedValues> values_;
};

}  // namespace stillrotor
