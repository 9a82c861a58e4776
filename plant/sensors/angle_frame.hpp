// What an absolute angle sensor answers, bit by bit.
// SSI    code (Gray or binary), most significant bit first; then, where asked for, an error bit and
//        a bit that makes all ones even.
// SPI    a word of 16 bits: 15 check, 14 error, 13 to 0 the angle, left-aligned.
//        parity: bit 15 makes the ones of the word even. crc8: bit 15 is 0, and eight more bits
//        follow: CRC-8 (SAE J1850) of the word's two bytes.
// Source common practice of such sensors; the layout is this project's. RT: safe. No state.
#pragma once

#include <array>
#include <cstdint>

#include "plant/sensors/check_codes.hpp"

namespace stillrotor::plant {

struct AngleFrame {
  std::uint32_t word = 0;
  int bits = 0;
  /// The bit that is sent n-th, from 0; past the frame's end: false.
  constexpr bool bit(int n) const noexcept {
    return n >= 0 && n < bits && ((word >> (bits - 1 - n)) & 1U) != 0;
  }
};

struct SsiFormat {
  bool gray = true;
  bool error_bit = false, parity_bit = false;
};

constexpr AngleFrame ssi_frame(std::uint32_t code, int code_bits, bool error,
                               const SsiFormat& format) noexcept {
  AngleFrame f{format.gray ? gray_code(code) : code, code_bits};
  if (format.error_bit) f = {(f.word << 1) | (error ? 1U : 0U), f.bits + 1};
  if (format.parity_bit) f = {(f.word << 1) | even_parity(f.word), f.bits + 1};
  return f;
}

enum class SpiCheck : unsigned char { parity, crc8 };

/// code_bits at most 14.
constexpr AngleFrame spi_frame(std::uint32_t code, int code_bits, bool error,
                               SpiCheck check) noexcept {
  const std::uint32_t word = (code << (14 - code_bits)) | (error ? 1U << 14 : 0U);
  if (check == SpiCheck::parity) return {word | (even_parity(word) << 15), 16};
  const std::array<std::uint8_t, 2> bytes{static_cast<std::uint8_t>(word >> 8),
                                          static_cast<std::uint8_t>(word & 0xFFU)};
  return {(word << 8) | crc8_j1850(bytes), 24};
}

}  // namespace stillrotor::plant
