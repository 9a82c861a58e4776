// Frames over one spidev device, all of them in one message, the select released between them.
// Errors open() throws ConfigError with the remedy; exchange() returns errno.
// RT     set(), got(): safe. exchange(): one system call that sleeps until the bus is done.
#pragma once

#include <linux/spi/spidev.h>

#include <array>
#include <cstdint>
#include <string>

#include "io/analog/config.hpp"
#include "io/analog/system_calls.hpp"

namespace stillrotor::io {

class SpiDevice {
 public:
  static constexpr std::size_t most_frames = 18;

  struct Framing {
    int frame_bytes = 2;
    bool low_byte_first = false;
    int mode = 0;
  };
  SpiDevice(SystemCalls&, SpiBus, Framing, std::string setting);
  ~SpiDevice() { close(); }
  SpiDevice(const SpiDevice&) = delete;
  SpiDevice& operator=(const SpiDevice&) = delete;

  void open();
  void close() noexcept;

  void set(std::size_t frame, std::uint32_t word) noexcept;
  /// The first so many frames. 0, or errno.
  int exchange(std::size_t frames) noexcept;
  std::uint32_t got(std::size_t frame) const noexcept;

 private:
  using Buffer = std::array<std::array<std::uint8_t, 4>, most_frames>;
  std::size_t place(int byte) const noexcept;
  void demand(unsigned long request, void* argument, const std::string& remedy);

  SystemCalls& calls_;
  SpiBus bus_;
  Framing framing_;
  std::string setting_;  // for messages
  int file_ = -1;
  Buffer sent_{}, received_{};
  std::array<spi_ioc_transfer, most_frames> transfers_{};
};

}  // namespace stillrotor::io
