// Variables of a firmware beside a record's signals, on the same grid: group /firmware of
// record.h5.
//
//   /firmware/<name>   float32, value k at (k + 1) / rate_Hz; attributes rate_Hz, text
// Not    part of the record's format or of its hash: added when the run has ended; none depends on
//        them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace stillrotor {

struct FirmwareSignal {
  std::string name;
  std::string text;  // what it is in the firmware: "torque_A float"
  std::vector<float> values;
};

/// To a record that is closed. Throws std::runtime_error.
void add_firmware_signals(const std::filesystem::path& folder, double rate_Hz,
                          const std::vector<FirmwareSignal>&);
/// By name; none: empty. A file or its folder. Throws std::runtime_error.
std::vector<FirmwareSignal> firmware_signals(const std::filesystem::path& file_or_folder);

}  // namespace stillrotor
