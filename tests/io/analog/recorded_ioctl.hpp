// Recorded ioctl: stands in for the kernel under io/analog. It keeps every SPI message as frames of
// bytes and every pulse of a latch line, answers with what a test gives it, and fails or hangs on
// demand. Thread-safe.
#pragma once

#include <linux/gpio.h>
#include <linux/spi/spidev.h>

#include <cerrno>
#include <condition_variable>
#include <cstring>
#include <functional>
#include <mutex>
#include <set>
#include <string>
#include <vector>

#include "io/analog/system_calls.hpp"

namespace stillrotor::io {

class RecordedIoctl final : public SystemCalls {
 public:
  using Frame = std::vector<std::uint8_t>;
  using Message = std::vector<Frame>;

  int open(const char* path) noexcept override {
    const std::lock_guard lock(mutex_);
    if (open_error != 0) return -open_error;
    opened.push_back(path);
    open_files.insert(next_file_);
    return next_file_++;
  }
  void close(int file) noexcept override {
    const std::lock_guard lock(mutex_);
    open_files.erase(file);
  }
  int ioctl(int, unsigned long request, void* argument) noexcept override {
    std::unique_lock lock(mutex_);
    switch (request) {
      case SPI_IOC_WR_MODE32:
        mode = *static_cast<std::uint32_t*>(argument);
        return 0;
      case SPI_IOC_RD_MODE32:
        *static_cast<std::uint32_t*>(argument) = forced_mode >= 0 ? forced_mode : mode;
        return 0;
      case SPI_IOC_WR_MAX_SPEED_HZ:
        clock_Hz = *static_cast<std::uint32_t*>(argument);
        return 0;
      case SPI_IOC_WR_BITS_PER_WORD:
        return 0;
      case GPIO_V2_GET_LINE_IOCTL:
        latch_request = *static_cast<gpio_v2_line_request*>(argument);
        static_cast<gpio_v2_line_request*>(argument)->fd = next_file_;
        open_files.insert(next_file_++);
        return 0;
      case GPIO_V2_LINE_SET_VALUES_IOCTL:
        said.push_back(static_cast<gpio_v2_line_values*>(argument)->bits != 0 ? "latch on"
                                                                              : "latch off");
        return 0;
      default:
        return transfer(lock, request, static_cast<spi_ioc_transfer*>(argument));
    }
  }

  /// Waits until so many messages have been sent; false: they have not within ten seconds.
  bool wait_for(std::size_t count) {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, std::chrono::seconds(10),
                             [&] { return messages_.size() >= count; });
  }
  std::vector<Message> messages() {
    const std::lock_guard lock(mutex_);
    return messages_;
  }
  Message last() { return messages().back(); }
  /// Messages from now on hang until they are let go. How many hang: hanging().
  void hang(bool on) {
    const std::lock_guard lock(mutex_);
    hang_ = on;
    changed_.notify_all();
  }
  bool wait_until_hanging() {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, std::chrono::seconds(10), [&] { return hanging_ > 0; });
  }
  void fail_transfers(int error) {
    const std::lock_guard lock(mutex_);
    transfer_error_ = error;
  }

  std::vector<std::string> opened, said;
  std::set<int> open_files;
  std::uint32_t mode = 99, clock_Hz = 0;
  int forced_mode = -1, open_error = 0;
  gpio_v2_line_request latch_request{};
  std::function<Message(const Message&)> answer;  // empty: zeros

 private:
  int transfer(std::unique_lock<std::mutex>& lock, unsigned long request,
               spi_ioc_transfer* transfers) {
    const std::size_t count = _IOC_SIZE(request) / sizeof(spi_ioc_transfer);
    if (request != SPI_IOC_MESSAGE(count)) return -ENOTTY;
    if (hang_) {
      ++hanging_;
      changed_.notify_all();
      changed_.wait(lock, [&] { return !hang_; });
      --hanging_;
    }
    if (transfer_error_ != 0) {
      ++failed;
      changed_.notify_all();
      return -transfer_error_;
    }
    Message message;
    int bytes = 0;
    for (std::size_t k = 0; k < count; ++k) {
      const auto* data = reinterpret_cast<const std::uint8_t*>(transfers[k].tx_buf);
      message.emplace_back(data, data + transfers[k].len);
      bytes += static_cast<int>(transfers[k].len);
      // The select goes up between frames, and after the last without being asked.
      if ((transfers[k].cs_change != 0) != (k + 1 < count)) return -EBADMSG;
    }
    if (answer) {
      const Message answered = answer(message);
      for (std::size_t k = 0; k < count; ++k)
        std::memcpy(reinterpret_cast<void*>(transfers[k].rx_buf), answered[k].data(),
                    answered[k].size());
    }
    messages_.push_back(std::move(message));
    said.push_back("message");
    changed_.notify_all();
    return bytes;
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<Message> messages_;
  bool hang_ = false;
  int hanging_ = 0, transfer_error_ = 0, next_file_ = 3;

 public:
  std::atomic<int> failed{0};
};

}  // namespace stillrotor::io
