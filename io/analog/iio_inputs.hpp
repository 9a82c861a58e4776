// Buffered inputs of an IIO device: set up through sysfs, read from its character device by a
// thread of its own.
// Stamps  of the kernel, on CLOCK_MONOTONIC, where the device has them; else the moment of reading.
// Threads look(): the cycle's. Others: set-up.
#pragma once

#include <atomic>
#include <filesystem>
#include <optional>
#include <thread>
#include <vector>

#include "io/analog/bus_thread.hpp"
#include "io/analog/calibration.hpp"
#include "io/analog/iio_scan.hpp"
#include "io/analog/latest_value.hpp"
#include "io/analog/spi_inputs.hpp"

namespace stillrotor::io {

class IioInputs {
 public:
  IioInputs(IioConfig, BusSeat);
  ~IioInputs() { close(); }

  void open();
  /// The newest scan. RT: safe.
  const InputRound& look() noexcept {
    mailbox_.look();
    return mailbox_.value();
  }
  void close() noexcept;

  /// transfers: scans.
  const BusTally& tally() const noexcept { return tally_; }

 private:
  std::string text(const std::filesystem::path&) const;
  void write(const std::filesystem::path&, const std::string& value) const;
  void find_folder();
  void set_up_scan();
  void run() noexcept;
  void take_scan(const std::uint8_t* scan, std::int64_t now_ns) noexcept;

  IioConfig config_;
  std::string setting_;
  BusSeat seat_;
  std::filesystem::path folder_;  // in sysfs
  std::vector<IioElement> elements_;
  std::vector<InputScale> scales_;
  std::optional<IioElement> stamp_;
  std::size_t scan_bytes_ = 0;
  int file_ = -1;
  std::vector<std::uint8_t> read_;  // up to one scan of it is the rest of the read before

  LatestValue<InputRound> mailbox_;
  std::atomic<bool> closing_{false};
  BusTally tally_;
  std::thread thread_;
};

}  // namespace stillrotor::io
