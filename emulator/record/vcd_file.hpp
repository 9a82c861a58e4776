// Writes edges as a value change dump (IEEE 1364), one picosecond a step.
// Scopes and variables are the connector's names: connector.gates.UH, connector.key.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

class VcdFile {
 public:
  /// initially_high: bit k for line k. Throws std::system_error.
  VcdFile(const std::filesystem::path& file, std::uint32_t initially_high);
  ~VcdFile();
  VcdFile(const VcdFile&) = delete;
  VcdFile& operator=(const VcdFile&) = delete;

  /// Times never decrease. Throws std::system_error when the disk refuses.
  void add(std::span<const LineEdge>);
  void flush();
  /// The last instant of the dump; closes.
  void finish(std::int64_t end_ps);

 private:
  char* put_time(char* out, std::int64_t at_ps) noexcept;
  void put_leading(std::int64_t at_ps) noexcept;
  void write_header(std::uint32_t initially_high);

  std::string file_;
  int fd_ = -1;
  std::vector<char> buffer_;
  char* out_ = nullptr;  // where the next character goes
  std::int64_t last_ps_ = 0;
  // What neighbouring instants share: "#" and all but their eight low digits, as text.
  std::int64_t leading_ps_ = -1;
  std::array<char, 16> leading_text_{};
  std::size_t leading_size_ = 0;
};

}  // namespace stillrotor
