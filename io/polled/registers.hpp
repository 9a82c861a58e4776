// A window of 32-bit registers mapped into this process.
#pragma once

#include <cstdint>

#include "io/polled/config.hpp"

namespace stillrotor::io {

class Registers {
 public:
  Registers() = default;
  /// Throws ConfigError: no such file, no right, offsets that do not fit.
  explicit Registers(const PolledRegisters&);
  ~Registers();
  Registers(Registers&&) noexcept;
  Registers& operator=(Registers&&) noexcept;

  /// RT: safe; as slow as the hardware behind it.
  volatile std::uint32_t* at(int offset) const noexcept {
    return reinterpret_cast<volatile std::uint32_t*>(window_ + offset);
  }
  bool mapped() const noexcept { return mapping_ != nullptr; }

 private:
  void* mapping_ = nullptr;
  unsigned char* window_ = nullptr;
  std::size_t size_ = 0;
};

}  // namespace stillrotor::io
