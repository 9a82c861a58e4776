// Reads a value change dump, IEEE Std 1364-2005 section 18 (four-state), one change at a time.
// Memory is bounded: a 64 KiB window on the file and the table of declared variables.
//
// Time   in ps from tick 0; ticks below 1 ps are rounded to it. At most 106 days (int64).
// Accepts every $section in any letter case of values, LF or CRLF, scalars and vectors; real and
//        string values are passed over. Extended (port) dumps are refused.
// Errors ConfigError "file:line: what; allowed. Remedy.", from any member.
#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io {

enum class VcdValue : std::uint8_t { zero, one, unknown, released };

struct VcdVariable {
  std::string path;  // scopes and name, joined by dots; a bit select stays with the name: "g[2]"
  std::string name;  // its last part
  unsigned width = 1;
  bool real = false;
  std::uint32_t code = 0;  // variables with the same code are one signal
};

struct VcdChange {
  Time at{};
  std::uint32_t code = 0;
  VcdValue value = VcdValue::unknown;  // of a vector: its last bit
};

class VcdReader {
 public:
  /// Opens the file and reads its declarations. `parameter` names the setting in errors.
  VcdReader(const std::filesystem::path& file, std::string parameter);

  const std::vector<VcdVariable>& variables() const noexcept { return variables_; }
  double tick_s() const noexcept { return tick_s_; }

  /// The next value change; false at the end of the file.
  bool next(VcdChange&);
  bool timed() const noexcept { return timed_; }       // has met a time stamp
  Time first_time() const noexcept { return first_; }  // first time stamp
  Time time() const noexcept { return now_; }          // newest time stamp

  [[noreturn]] void fail(const std::string& what, const std::string& remedy) const;

 private:
  bool read_token(std::string& token);
  bool fill();
  void skip_section(std::string_view keyword);
  std::string section_word(std::string_view keyword);
  void end_section(std::string_view keyword);
  void read_declarations();
  void read_timescale();
  void read_variable();
  void read_time(std::string_view digits);
  std::uint32_t code_of(std::string_view id) const;

  std::filesystem::path file_;
  std::string parameter_;
  std::ifstream stream_;
  std::vector<char> window_;
  std::size_t position_ = 0, filled_ = 0;
  std::uint64_t line_ = 1, token_line_ = 1;
  std::string token_;

  std::vector<std::string> scopes_;
  std::vector<VcdVariable> variables_;
  std::unordered_map<std::string, std::uint32_t> codes_;
  double tick_s_ = 0.0;
  std::uint64_t ps_per_tick_ = 0, ticks_per_ps_ = 1;  // the first is 0 until $timescale
  std::uint64_t ticks_ = 0;
  bool timed_ = false;
  Time first_{}, now_{};
};

}  // namespace stillrotor::io
