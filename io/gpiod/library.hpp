// What the backend needs of libgpiod: the same for the two interfaces that exist of it. One of v1
// and v2 is built, by the library that is there; tests have a third.
//
// Errors set-up throws std::system_error; after it, false.
// RT     drive(), let_go(), sense(): one system call each, no allocation. The libraries' own
//        bookkeeping is not locked: two threads may meet in drive() and let_go(), the last one
//        holds.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "io/wired_settings.hpp"

namespace stillrotor::io::gpiod {

inline constexpr const char* consumer = "stillrotor";
inline constexpr std::size_t most_lines = 32;  // of one request

struct LineState {
  std::string name, user;  // user: who has it; empty: nobody
  bool used = false;
};
struct ChipState {
  std::string path, name, label;  // "/dev/gpiochip0", "gpiochip0", "pinctrl-..."
  std::vector<LineState> lines;   // by offset
};

struct LineRequest {
  unsigned offset = 0;
  bool active_low = false;
  Bias bias = Bias::as_is;
  Drive drive = Drive::push_pull;
};

struct RawEdge {
  std::int64_t monotonic_ns = 0;
  std::uint16_t position = 0;  // in the request
  bool active = false;
  std::uint32_t sequence = 0;  // of this line, from 1; 0: this kernel interface has none
};
struct RawEdges {
  static constexpr std::size_t most = 1024;
  std::array<RawEdge, most> edges;
  std::size_t count = 0;
  std::uint32_t brimful = 0;  // bit by position: the line's queue was full, so it may have run over
};

/// Lines of one chip, watched for edges.
class WatchedLines {
 public:
  virtual ~WatchedLines() = default;
  /// To poll for; more than one where the kernel has a queue for each line.
  virtual std::span<const int> descriptors() const noexcept = 0;
  /// What has queued up at a descriptor that is readable; appends at most `descriptor's queue`.
  virtual bool read(std::size_t descriptor, RawEdges&) noexcept = 0;
  /// Bit by position: active.
  virtual bool sense(std::uint32_t& active) noexcept = 0;
};

/// Lines of one chip that the bench drives, or lets go, all at once.
class DrivenLines {
 public:
  virtual ~DrivenLines() = default;
  virtual bool drive(std::uint32_t active) noexcept = 0;  // bit by position
  virtual bool let_go() noexcept = 0;                     // all of them become inputs
};

class Library {
 public:
  virtual ~Library() = default;
  virtual std::string version() const = 0;
  /// Every chip that this user may open.
  virtual std::vector<ChipState> chips() = 0;
  virtual std::unique_ptr<WatchedLines> watch(const std::string& chip, std::span<const LineRequest>,
                                              bool edges) = 0;
  /// Starts driven, except where `released`.
  virtual std::unique_ptr<DrivenLines> take(const std::string& chip, std::span<const LineRequest>,
                                            std::uint32_t active, bool released) = 0;
};

/// The installed one.
std::unique_ptr<Library> make_library();

/// "/dev/gpiochip0", ... in order of their numbers.
std::vector<std::string> chip_devices();

}  // namespace stillrotor::io::gpiod
