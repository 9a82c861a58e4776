// The analog side of a bench on a board: a component of controllers on real wires (io/wired.hpp),
// which hold one beside their lines. Settings: io/analog/config.hpp.
//
// Time    readings count from arm(), on CLOCK_MONOTONIC.
// Threads store(), latest(): the cycle's thread only. make_safe(): any thread, any time from open()
//         on. Others: the thread that sets up. Each converter has a bus thread of its own, so that
//         a bus that hangs holds up nothing else.
// Errors  the constructor and open() throw ConfigError with the remedy; nothing after that throws:
//         transfers that fail are counted, and store() says when the wires no longer follow.
// RT      store(), latest(), make_safe(), counts(): no allocation, lock, log or throw; store() and
//         make_safe() make one system call a converter, to wake its thread.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "io/analog/config.hpp"
#include "io/analog/system_calls.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

/// What of the settings cannot be, at most one complaint for each converter and each wire.
std::vector<ConfigError> faults(const AnalogConfig&);
/// Throws the first of them.
void check(const AnalogConfig&);

/// Since open(), of all buses together. Only ever grow.
struct AnalogCounts {
  std::uint64_t transfers = 0;  // IIO: scans
  std::uint64_t failed_transfers = 0;
  std::uint64_t late = 0;       // stores that found the values before them still not on the wires
  std::uint64_t clamped = 0;    // values that the limits or the part's range cut
  std::int64_t longest_ns = 0;  // of one SPI transfer, its latch included
  int latest_error = 0;         // errno; 0: none has failed
};

class AnalogPort {
 public:
  explicit AnalogPort(AnalogConfig, SystemCalls& = real_system_calls());
  ~AnalogPort();

  /// Takes the buses; outputs stand at their safe levels when it returns.
  void open();
  /// From here on store() acts. Time 0 of readings.
  void arm(std::int64_t monotonic_ns) noexcept;

  /// Channels that are not wired: anything. powered: the controller has its supply; without it the
  /// channels rest as near to 0 V as their limits allow, and nothing counts as cut. False: the
  /// wires do not follow, or are safe.
  bool store(const std::array<double, channel_count>& volts, bool powered = true) noexcept;

  /// Inputs are numbered in the order of the settings: those of adcs, then those of iio.
  std::optional<std::size_t> find_input(std::string_view name) const noexcept;
  AnalogReading latest(std::size_t input) noexcept;

  /// Outputs to their safe levels, and there they stay.
  void make_safe() noexcept;
  /// Safe, then buses are given back. Twice does no harm.
  void close() noexcept;

  AnalogCounts counts() const noexcept;

 private:
  struct Buses;
  AnalogConfig config_;
  std::unique_ptr<Buses> buses_;
};

}  // namespace stillrotor::io
