// Where the converters' registers stand and what their bits are called, as in the reference manual.
//
// Source RM0090 (STM32F405 reference manual), ADC registers; bits from memory.
#pragma once

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm::adc_register {

inline constexpr Word SR = 0x00, CR1 = 0x04, CR2 = 0x08, SMPR1 = 0x0C, SMPR2 = 0x10, JOFR1 = 0x14,
                      JOFR4 = 0x20, HTR = 0x24, LTR = 0x28, SQR1 = 0x2C, SQR2 = 0x30, SQR3 = 0x34,
                      JSQR = 0x38, JDR1 = 0x3C, JDR4 = 0x48, DR = 0x4C;
/// Of one converter; the common registers behind the third.
inline constexpr Word window = 0x100, CSR = 0x300, CCR = 0x304, CDR = 0x308;

namespace sr {
inline constexpr Word AWD = 1u << 0, EOC = 1u << 1, JEOC = 1u << 2, JSTRT = 1u << 3, STRT = 1u << 4,
                      OVR = 1u << 5;
}
namespace cr1 {
inline constexpr Word EOCIE = 1u << 5, AWDIE = 1u << 6, JEOCIE = 1u << 7, SCAN = 1u << 8,
                      AWDSGL = 1u << 9, JAUTO = 1u << 10, DISCEN = 1u << 11, JDISCEN = 1u << 12,
                      JAWDEN = 1u << 22, AWDEN = 1u << 23, OVRIE = 1u << 26;
constexpr unsigned AWDCH(Word r) { return r & 31; }
constexpr unsigned DISCNUM(Word r) { return r >> 13 & 7; }
constexpr unsigned bits(Word r) { return 12 - 2 * (r >> 24 & 3); }  // of RES
}  // namespace cr1
namespace cr2 {
inline constexpr Word ADON = 1u << 0, CONT = 1u << 1, DMA = 1u << 8, DDS = 1u << 9, EOCS = 1u << 10,
                      ALIGN = 1u << 11, JSWSTART = 1u << 22, SWSTART = 1u << 30;
constexpr unsigned JEXTSEL(Word r) { return r >> 16 & 15; }
constexpr unsigned JEXTEN(Word r) { return r >> 20 & 3; }
constexpr unsigned EXTSEL(Word r) { return r >> 24 & 15; }
constexpr unsigned EXTEN(Word r) { return r >> 28 & 3; }
}  // namespace cr2
namespace ccr {
constexpr unsigned MULTI(Word r) { return r & 31; }
constexpr unsigned DMA(Word r) { return r >> 14 & 3; }
constexpr unsigned prescaler(Word r) { return 2 * ((r >> 16 & 3) + 1); }  // of ADCPRE
}  // namespace ccr

}  // namespace stillrotor::io::cortexm::adc_register
