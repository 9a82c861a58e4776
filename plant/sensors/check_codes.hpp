// Codes of serial position sensors: Gray code, parity, CRC-8.
// Source  textbook; CRC-8 parameters as in the published catalogue of parametrised CRC algorithms,
//         check values from memory (tests/reference/sensors). RT: safe. No state.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>

namespace stillrotor::plant {

constexpr std::uint32_t gray_code(std::uint32_t binary) noexcept { return binary ^ (binary >> 1); }

/// The bit that makes the number of ones even.
constexpr std::uint32_t even_parity(std::uint32_t word) noexcept {
  return static_cast<std::uint32_t>(std::popcount(word)) & 1U;
}

/// Not reflected, most significant bit first.
struct Crc8 {
  std::uint8_t polynomial, initial, final_xor;

  constexpr std::uint8_t operator()(std::span<const std::uint8_t> bytes) const noexcept {
    std::uint32_t rest = initial;
    for (const std::uint8_t byte : bytes) {
      rest ^= byte;
      for (int k = 0; k < 8; ++k) rest = (rest << 1) ^ ((rest & 0x80U) ? polynomial : 0U);
      rest &= 0xFFU;
    }
    return static_cast<std::uint8_t>(rest ^ final_xor);
  }
};

/// x^8 + x^4 + x^3 + x^2 + 1 (SAE J1850).
inline constexpr Crc8 crc8_j1850{0x1D, 0xFF, 0xFF};

}  // namespace stillrotor::plant
