// A serial EEPROM on I2C: 4096 bytes in pages of 32, as parts of the family 24C32 have them.
//
// Wires  clock, data.
// Writes Two bytes of address, then data, which runs round within its page; the stop stores them.
//        While it stores it answers nobody: the master asks until it does. A start in place of the
//        stop stores nothing.
// Reads  from the address that stands, on and on, round the whole memory.
// Source common practice of such parts (datasheets of the family 24C32, from memory).
// Not    the write-protection pin; a supply that goes while it stores (what was sent is stored);
//        a clock faster than the part stands.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "io/mcu/cortexm/board/partner.hpp"
#include "io/mcu/partners.hpp"

namespace stillrotor::io::cortexm {

class Eeprom final : public Partner {
 public:
  static constexpr std::size_t bytes = 4096, page = 32;
  static constexpr unsigned clock_wire = 0, data_wire = 1;
  /// Reads the image; throws ConfigError where it cannot.
  explicit Eeprom(const EepromConfig&);

  void seen(unsigned wire, bool high, Time) noexcept override;
  Level pulls(unsigned wire) const noexcept override {
    return wire == data_wire && pulls_ ? Level::low : Level::released;
  }
  void start() noexcept override;
  const std::vector<std::uint8_t>& content() const noexcept { return memory_; }

 private:
  enum class Expects : std::uint8_t { nothing, device, high, low, data, clocks };
  void begin() noexcept;
  void stop(Time) noexcept;
  void clock_fell(Time) noexcept;
  bool take(std::uint8_t, Time) noexcept;

  std::uint8_t device_;
  Time write_{}, busy_until_{};
  std::vector<std::uint8_t> memory_;
  std::array<std::uint8_t, page> sent_{};
  std::size_t sent_count_ = 0;
  std::uint16_t address_ = 0;
  Expects expects_ = Expects::nothing;
  bool clock_ = true, data_ = true, pulls_ = false;
  bool sends_ = false, acknowledged_ = false;
  unsigned clocks_ = 0;  // of this byte, its acknowledge among them
  std::uint8_t shift_ = 0;
};

}  // namespace stillrotor::io::cortexm
