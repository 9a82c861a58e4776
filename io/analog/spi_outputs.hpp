// One digital-to-analog converter: its channels on the wires of the bench, by a thread of its own.
// Threads store(), make_safe(): the cycle's, any; neither waits for the bus. Others: set-up.
// RT     store(), make_safe(): safe but for one system call that wakes the bus thread.
#pragma once

#include <array>
#include <atomic>
#include <optional>
#include <thread>
#include <vector>

#include "io/analog/bus_thread.hpp"
#include "io/analog/calibration.hpp"
#include "io/analog/latch_line.hpp"
#include "io/analog/latest_value.hpp"
#include "io/analog/spi_device.hpp"

namespace stillrotor::io {

struct ChannelVolts {
  std::array<double, channel_count> at{};
  bool powered = true;  // the controller has its supply, so what is cut changes what it sees
};

/// Stores without one finished transfer.
struct Patience {
  std::uint32_t late_after = 2, stalled_after = 8;
};

class SpiOutputs {
 public:
  SpiOutputs(SpiDacConfig, SystemCalls&, BusSeat, Patience);
  ~SpiOutputs() { close(); }

  /// The safe levels stand on the wires when it returns.
  void open();
  /// False: the stores without one finished transfer exhaust the patience.
  bool store(const ChannelVolts&) noexcept;
  void make_safe() noexcept;
  /// Safe levels, then the bus is given back.
  void close() noexcept;

  const BusTally& tally() const noexcept { return tally_; }
  std::uint64_t late() const noexcept { return late_.load(std::memory_order_relaxed); }
  std::uint64_t clamped() const noexcept { return clamped_.load(std::memory_order_relaxed); }

 private:
  void run() noexcept;
  int show(const ChannelVolts&) noexcept;
  bool show_safe() noexcept;

  SpiDacConfig config_;
  std::string setting_;
  BusSeat seat_;
  Patience patience_;
  SpiDevice device_;
  std::optional<LatchPulse> latch_;
  std::vector<OutputScale> scales_;
  ChannelVolts safe_volts_{};

  LatestValue<ChannelVolts> mailbox_;
  Doorbell doorbell_;
  std::atomic<bool> safe_{false}, closing_{false};
  std::atomic<std::uint32_t> waiting_{0};  // stores since the last finished transfer
  std::atomic<std::uint64_t> late_{0}, clamped_{0};
  BusTally tally_;
  std::thread thread_;
};

}  // namespace stillrotor::io
