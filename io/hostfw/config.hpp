// Settings of firmware that was compiled for the host.
#pragma once

#include <cstddef>
#include <filesystem>
#include <vector>

#include "io/firmware_settings.hpp"

namespace stillrotor::io {

struct HostFirmwareConfig {
  std::filesystem::path firmware;  // a shared object that exports sr_firmware_table()
  double supply_V = 5.0;           // runs above 80 % of it
  /// Processor time that one interrupt may take before it counts as hung; waiting counts a tenth.
  double patience_s = 2.0;
  std::size_t most_memory_bytes = std::size_t{1} << 30;  // of its process
  /// Loads it into the bench's own process: faster, and a crash takes the bench with it. Nothing is
  /// caught, and the limits above do not hold.
  bool in_process = false;
  std::vector<SettingChange> settings;  // written after loading, before reset
};

}  // namespace stillrotor::io
