// The connector lines of a recording, in order, from where the replay begins.
// Values that change more than once at one time stamp count as the last of them; lines that change
// together come in the order of LineId.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "io/capture/config.hpp"
#include "io/capture/vcd_reader.hpp"
#include "io/connector.hpp"

namespace stillrotor::io {

class LineStream {
 public:
  /// Throws ConfigError: unreadable file, a named signal that is missing, ambiguous or no single
  /// bit, a gate without a signal, a start that is no time.
  explicit LineStream(const CaptureConfig&);

  /// The next change of a named line; false at the end. Levels of the start come first, at 0.
  /// Throws ConfigError.
  bool next(Edge&);
  /// From the start to the last time stamp; complete once next() has returned false.
  Time length() const noexcept;
  double tick_s() const noexcept { return reader_.tick_s(); }
  std::uint64_t unknown_values() const noexcept { return unknown_; }

 private:
  void find_signals(const CaptureConfig&);
  void gather();
  Time from_start() const noexcept;

  VcdReader reader_;
  Time start_{};
  std::vector<std::vector<LineId>> lines_of_;  // by code
  std::array<Level, line_count> level_, told_;
  std::vector<Edge> pending_;
  std::size_t taken_ = 0;
  VcdChange ahead_;
  Time ahead_at_{};
  bool has_ahead_ = false, finished_ = false;
  std::uint64_t unknown_ = 0;
};

}  // namespace stillrotor::io
