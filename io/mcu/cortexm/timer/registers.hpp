// Where a timer's registers stand and what their bits are called, as in the reference manual.
//
// Source RM0090 (STM32F405 reference manual), TIM1 and TIM8 registers, TIM2 to TIM5 registers;
// section
//        numbers and bits from memory.
#pragma once

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm::timer_register {

inline constexpr Word CR1 = 0x00, CR2 = 0x04, SMCR = 0x08, DIER = 0x0C, SR = 0x10, EGR = 0x14,
                      CCMR1 = 0x18, CCMR2 = 0x1C, CCER = 0x20, CNT = 0x24, PSC = 0x28, ARR = 0x2C,
                      RCR = 0x30, CCR1 = 0x34, CCR4 = 0x40, BDTR = 0x44, DCR = 0x48, DMAR = 0x4C,
                      OR = 0x50;

namespace cr1 {
inline constexpr Word CEN = 1u << 0, UDIS = 1u << 1, URS = 1u << 2, OPM = 1u << 3, DIR = 1u << 4,
                      ARPE = 1u << 7;
constexpr unsigned CMS(Word r) { return r >> 5 & 3; }
constexpr unsigned CKD(Word r) { return r >> 8 & 3; }
}  // namespace cr1

namespace cr2 {
inline constexpr Word CCPC = 1u << 0, CCUS = 1u << 2, CCDS = 1u << 3, TI1S = 1u << 7;
constexpr unsigned MMS(Word r) { return r >> 4 & 7; }
constexpr bool OIS(Word r, unsigned channel) { return r >> (8 + 2 * channel) & 1; }
constexpr bool OISN(Word r, unsigned channel) { return r >> (9 + 2 * channel) & 1; }
}  // namespace cr2

namespace smcr {
inline constexpr Word ECE = 1u << 14, ETP = 1u << 15;
constexpr unsigned SMS(Word r) { return r & 7; }
constexpr unsigned TS(Word r) { return r >> 4 & 7; }
constexpr unsigned ETF(Word r) { return r >> 8 & 15; }
constexpr unsigned ETPS(Word r) { return r >> 12 & 3; }
}  // namespace smcr

/// Of SR, and of DIER and EGR where they have them at the same place.
namespace flag {
inline constexpr Word U = 1u << 0, CC1 = 1u << 1, COM = 1u << 5, T = 1u << 6, B = 1u << 7;
inline constexpr Word compares = 0x1e;
constexpr Word CC(unsigned channel) { return CC1 << channel; }
constexpr Word CCOF(unsigned channel) { return 1u << (9 + channel); }
/// Of DIER: the request for DMA beside the interrupt of that flag.
constexpr Word DE(Word flag) { return flag << 8; }
}  // namespace flag

namespace bdtr {
inline constexpr Word OSSI = 1u << 10, OSSR = 1u << 11, BKE = 1u << 12, BKP = 1u << 13,
                      AOE = 1u << 14, MOE = 1u << 15;
constexpr unsigned LOCK(Word r) { return r >> 8 & 3; }
/// Of DTG, in periods of t_DTS.
constexpr unsigned dead_time(Word r) {
  const unsigned g = r & 0xff;
  if (g < 0x80) return g;
  if (g < 0xc0) return 2 * (64 + (g & 0x3f));
  return (g < 0xe0 ? 8 : 16) * (32 + (g & 0x1f));
}
}  // namespace bdtr

}  // namespace stillrotor::io::cortexm::timer_register
