// Parity, Gray code, CRC-8 and whole frames against published values and bits written by hand.
#include <gtest/gtest.h>

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

#include "plant/sensors/angle_frame.hpp"

namespace stillrotor::reference {
namespace {

using namespace plant;

std::uint8_t of_text(const Crc8& crc, std::string_view text) {
  std::array<std::uint8_t, 16> bytes{};
  for (std::size_t k = 0; k < text.size(); ++k) bytes[k] = static_cast<std::uint8_t>(text[k]);
  return crc(std::span(bytes).first(text.size()));
}

// Source: the check values, that is the code of the nine characters 123456789, of the published
// catalogue of parametrised CRC algorithms; from memory.
TEST(CheckCode, Crc8GivesThePublishedCheckValues) {
  EXPECT_EQ(of_text(crc8_j1850, "123456789"), 0x4B);          // CRC-8/SAE-J1850
  EXPECT_EQ(of_text({0x07, 0x00, 0x00}, "123456789"), 0xF4);  // CRC-8/SMBUS
  EXPECT_EQ(of_text({0x07, 0x00, 0x55}, "123456789"), 0xA1);  // CRC-8/I-432-1
  EXPECT_EQ(of_text({0x2F, 0xFF, 0xFF}, "123456789"), 0xDF);  // CRC-8/AUTOSAR
  EXPECT_EQ(of_text({0x1D, 0x00, 0x00}, "123456789"), 0x37);  // CRC-8/GSM-A
}

// A code word followed by its own check bits leaves nothing where nothing is inverted at the end,
// and any single flipped bit shows: textbook properties of a CRC.
TEST(CheckCode, Crc8FindsEveryFlippedBitOfAWord) {
  const std::array<std::uint8_t, 2> word{0x2A, 0xC3};
  const std::uint8_t good = crc8_j1850(word);
  for (unsigned bit = 0; bit < 16; ++bit) {
    std::array<std::uint8_t, 2> bad = word;
    bad[bit / 8] = static_cast<std::uint8_t>(bad[bit / 8] ^ (1U << bit % 8));
    EXPECT_NE(crc8_j1850(bad), good) << bit;
  }
}

// Source: the reflected binary code as in any textbook, three bits.
TEST(CheckCode, GrayCodeIsTheReflectedBinaryCode) {
  constexpr std::array<std::uint32_t, 8> gray{0b000, 0b001, 0b011, 0b010,
                                              0b110, 0b111, 0b101, 0b100};
  for (std::uint32_t k = 0; k < 8; ++k) EXPECT_EQ(gray_code(k), gray[k]);
}

std::string bits(const AngleFrame& frame) {
  std::string out;
  for (int n = 0; n < frame.bits; ++n) out += frame.bit(n) ? '1' : '0';
  return out;
}

// By hand: code 0xA5B = 1010 0101 1011 of 12 bits. Gray: each bit exclusive-or its left neighbour:
// 1111 0111 0110, nine ones. Error bit 1 makes them ten, so even parity is 0; without it 1.
TEST(SsiFrame, IsCodeErrorParityMostSignificantBitFirst) {
  EXPECT_EQ(bits(ssi_frame(0xA5B, 12, false, {.gray = false})), "101001011011");
  EXPECT_EQ(bits(ssi_frame(0xA5B, 12, false, {.gray = true})), "111101110110");
  EXPECT_EQ(bits(ssi_frame(0xA5B, 12, true, {true, true, true})), "11110111011010");
  EXPECT_EQ(bits(ssi_frame(0xA5B, 12, false, {true, true, true})), "11110111011001");
}

// By hand: 12 bits 0xA5B, two zeros below: 10 1001 0110 1100, seven ones. Without error even
// parity is 1; with the error bit eight ones and parity 0.
TEST(SpiFrame, IsParityErrorAndFourteenBitsOfAngle) {
  EXPECT_EQ(bits(spi_frame(0xA5B, 12, false, SpiCheck::parity)), "1010100101101100");
  EXPECT_EQ(bits(spi_frame(0xA5B, 12, true, SpiCheck::parity)), "0110100101101100");
}

/// x^8 + x^4 + x^3 + x^2 + 1 by division of polynomials written as text, as one does it by hand.
std::string long_division(std::string message) {
  message += "00000000";
  for (std::size_t k = 0; k < 8; ++k) message[k] = message[k] == '0' ? '1' : '0';  // start: ones
  const std::string divisor = "100011101";
  for (std::size_t k = 0; k + 8 < message.size(); ++k)
    if (message[k] == '1')
      for (std::size_t j = 0; j < 9; ++j) message[k + j] = message[k + j] == divisor[j] ? '0' : '1';
  std::string rest = message.substr(message.size() - 8);
  for (char& bit : rest) bit = bit == '0' ? '1' : '0';  // end: inverted
  return rest;
}

TEST(SpiFrame, EndsWithTheRemainderOfALongDivision) {
  for (const std::uint32_t code : {0x0U, 0x1U, 0xA5BU, 0xFFFU}) {
    const std::string frame = bits(spi_frame(code, 12, code == 1, SpiCheck::crc8));
    ASSERT_EQ(frame.size(), 24U);
    EXPECT_EQ(frame.substr(16), long_division(frame.substr(0, 16))) << frame;
    EXPECT_EQ(frame[0], '0');
    EXPECT_EQ(frame[1], code == 1 ? '1' : '0');
  }
}

}  // namespace
}  // namespace stillrotor::reference
