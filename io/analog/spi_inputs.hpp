// One analog-to-digital converter: all its inputs, round after round, by a thread of its own.
// Threads look(): the cycle's. Others: set-up.
#pragma once

#include <array>
#include <atomic>
#include <thread>
#include <vector>

#include "io/analog/bus_thread.hpp"
#include "io/analog/calibration.hpp"
#include "io/analog/latest_value.hpp"
#include "io/analog/spi_device.hpp"

namespace stillrotor::io {

/// What one round brought, in the order of the inputs in the configuration.
struct InputRound {
  static constexpr std::size_t most_inputs = 16;
  std::array<double, most_inputs> volts{};
  std::int64_t at_ns = 0;  // CLOCK_MONOTONIC, the end of the round; 0: none yet
};

class SpiInputs {
 public:
  SpiInputs(SpiAdcConfig, SystemCalls&, BusSeat);
  ~SpiInputs() { close(); }

  /// One round has been read when it returns.
  void open();
  /// The newest round. RT: safe.
  const InputRound& look() noexcept {
    mailbox_.look();
    return mailbox_.value();
  }
  void close() noexcept;

  const BusTally& tally() const noexcept { return tally_; }

 private:
  void run() noexcept;
  int read_round() noexcept;

  SpiAdcConfig config_;
  std::string setting_;
  BusSeat seat_;
  SpiDevice device_;
  std::vector<InputScale> scales_;

  LatestValue<InputRound> mailbox_;
  Doorbell doorbell_;
  std::atomic<bool> closing_{false};
  BusTally tally_;
  std::thread thread_;
};

}  // namespace stillrotor::io
