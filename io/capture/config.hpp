// Settings of a recorded capture that is replayed open loop.
#pragma once

#include <array>
#include <filesystem>
#include <string>

#include "io/connector.hpp"

namespace stillrotor::io {

struct CaptureConfig {
  std::filesystem::path file;  // IEEE 1364 VCD
  std::array<std::string, line_count>
      signals;           // by LineId: name in the VCD, "scope.name" or "name"; empty: not recorded
  double start_s = 0.0;  // where in the recording to begin
};

}  // namespace stillrotor::io
