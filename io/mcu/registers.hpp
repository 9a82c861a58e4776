// Bits that every part of the family has at the same place of a register. What differs between
// parts stands in io/mcu/parts.
//
// Source datasheets of the parts: Register Description of each peripheral.
#pragma once

#include "io/mcu/parts/pin.hpp"

namespace stillrotor::io::mcu::bits {

inline constexpr std::uint8_t ADEN = 0x80, ADSC = 0x40, ADATE = 0x20, ADIF = 0x10, ADIE = 0x08;
inline constexpr std::uint8_t ADLAR = 0x20;  // ADMUX
inline constexpr std::uint8_t ACD = 0x80, ACBG = 0x40, ACO = 0x20, ACI = 0x10, ACIE = 0x08,
                              ACIC = 0x04, ACIS = 0x03;                              // ACSR
inline constexpr std::uint8_t TXC = 0x40, UDRE = 0x20, U2X = 0x02;                   // UCSRA
inline constexpr std::uint8_t TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08;  // UCSRB
inline constexpr std::uint8_t URSEL = 0x80;  // UCSRC, where it shares its address
inline constexpr std::uint8_t SPE = 0x40;    // SPCR

}  // namespace stillrotor::io::mcu::bits
