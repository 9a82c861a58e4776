#include "io/analog/spi_device.hpp"

#include <cerrno>
#include <cstring>

namespace stillrotor::io {
namespace {

std::string remedy_for_open(int error) {
  if (error == EACCES || error == EPERM)
    return "Put your user into the group that owns it, or give it read and write permission by a "
           "udev rule.";
  if (error == ENOENT || error == ENXIO || error == ENODEV)
    return "Switch the bus on and bind spidev to its select line (device tree or overlay); "
           "ls /dev/spidev* shows what is there.";
  return "See dmesg for what the driver says.";
}

}  // namespace

SpiDevice::SpiDevice(SystemCalls& calls, SpiBus bus, Framing framing, std::string setting)
    : calls_(calls), bus_(std::move(bus)), framing_(framing), setting_(std::move(setting)) {
  for (std::size_t k = 0; k < most_frames; ++k) {
    transfers_[k].tx_buf = reinterpret_cast<std::uintptr_t>(sent_[k].data());
    transfers_[k].rx_buf = reinterpret_cast<std::uintptr_t>(received_[k].data());
    transfers_[k].len = static_cast<std::uint32_t>(framing_.frame_bytes);
    transfers_[k].speed_hz = static_cast<std::uint32_t>(bus_.clock_Hz);
    transfers_[k].bits_per_word = 8;
  }
}

void SpiDevice::open() {
  const int file = calls_.open(bus_.device.c_str());
  if (file < 0)
    throw ConfigError(
        setting_ + ".device",
        "cannot open " + bus_.device + ": " + std::strerror(-file) + ". " + remedy_for_open(-file));
  file_ = file;
  std::uint32_t mode = static_cast<std::uint32_t>(framing_.mode), taken = 0;
  const std::string mode_text = "SPI mode " + std::to_string(framing_.mode);
  demand(SPI_IOC_WR_MODE32, &mode,
         mode_text + " is not to be had there; use another bus of the board.");
  demand(SPI_IOC_RD_MODE32, &taken, "It is no spidev device.");
  if ((taken & SPI_MODE_X_MASK) != mode)
    throw ConfigError(setting_ + ".device", bus_.device + " stays in SPI mode " +
                                                std::to_string(taken & SPI_MODE_X_MASK) +
                                                ", the part needs mode " + std::to_string(mode) +
                                                "; use another bus of the board.");
  std::uint8_t bits = 8;
  demand(SPI_IOC_WR_BITS_PER_WORD, &bits, "Words of 8 bits are needed; use another bus.");
  auto clock = static_cast<std::uint32_t>(bus_.clock_Hz);
  demand(SPI_IOC_WR_MAX_SPEED_HZ, &clock, "Ask for a slower clock.");
}

void SpiDevice::demand(unsigned long request, void* argument, const std::string& remedy) {
  if (const int result = calls_.ioctl(file_, request, argument); result < 0) {
    const std::string error = std::strerror(-result);
    throw ConfigError(setting_ + ".device", bus_.device + ": " + error + ". " + remedy);
  }
}

void SpiDevice::close() noexcept {
  if (file_ >= 0) calls_.close(file_);
  file_ = -1;
}

/// Where a word's byte lies on the wire; byte 0 is its lowest.
std::size_t SpiDevice::place(int byte) const noexcept {
  return static_cast<std::size_t>(framing_.low_byte_first ? byte : framing_.frame_bytes - 1 - byte);
}

void SpiDevice::set(std::size_t frame, std::uint32_t word) noexcept {
  for (int byte = 0; byte < framing_.frame_bytes; ++byte)
    sent_[frame][place(byte)] = static_cast<std::uint8_t>(word >> (8 * byte));
}

std::uint32_t SpiDevice::got(std::size_t frame) const noexcept {
  std::uint32_t word = 0;
  for (int byte = 0; byte < framing_.frame_bytes; ++byte)
    word |= static_cast<std::uint32_t>(received_[frame][place(byte)]) << (8 * byte);
  return word;
}

int SpiDevice::exchange(std::size_t frames) noexcept {
  // On the last frame of a message it would mean: stay selected.
  for (std::size_t k = 0; k < frames; ++k) transfers_[k].cs_change = k + 1 < frames;
  const int result =
      calls_.ioctl(file_, SPI_IOC_MESSAGE(frames), static_cast<void*>(transfers_.data()));
  if (result < 0) return -result;
  const int wanted = static_cast<int>(frames) * framing_.frame_bytes;
  return result == wanted ? 0 : EIO;
}

}  // namespace stillrotor::io
