// The ATmega328P's registers (addresses in data space), bits and interrupt vectors.
//
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet, Register Summary and Interrupt Vectors;
//        the same numbers stand in avr-libc's iom328p.h.
#pragma once

#include <cstdint>

namespace stillrotor::io::mcu {

using Address = std::uint16_t;

namespace reg {
inline constexpr Address PINB = 0x23, DDRB = 0x24, PORTB = 0x25;  // C and D follow in threes
inline constexpr Address TIFR0 = 0x35, TIFR1 = 0x36, TIFR2 = 0x37, PCIFR = 0x3b, EIFR = 0x3c,
                         EIMSK = 0x3d;
inline constexpr Address GTCCR = 0x43, TCCR0A = 0x44, TCCR0B = 0x45, TCNT0 = 0x46, OCR0A = 0x47,
                         OCR0B = 0x48;
inline constexpr Address SPCR = 0x4c, ACSR = 0x50, SMCR = 0x53, MCUSR = 0x54, MCUCR = 0x55;
inline constexpr Address WDTCSR = 0x60, CLKPR = 0x61, PRR = 0x64, PCICR = 0x68, EICRA = 0x69,
                         PCMSK0 = 0x6b;
inline constexpr Address TIMSK0 = 0x6e, TIMSK1 = 0x6f, TIMSK2 = 0x70;
inline constexpr Address ADCL = 0x78, ADCH = 0x79, ADCSRA = 0x7a, ADCSRB = 0x7b, ADMUX = 0x7c;
inline constexpr Address TCCR1A = 0x80, TCCR1B = 0x81, TCCR1C = 0x82, TCNT1L = 0x84, TCNT1H = 0x85,
                         ICR1L = 0x86, ICR1H = 0x87, OCR1AL = 0x88, OCR1AH = 0x89, OCR1BL = 0x8a,
                         OCR1BH = 0x8b;
inline constexpr Address TCCR2A = 0xb0, TCCR2B = 0xb1, TCNT2 = 0xb2, OCR2A = 0xb3, OCR2B = 0xb4,
                         ASSR = 0xb6, TWCR = 0xbc;
inline constexpr Address UCSR0A = 0xc0, UCSR0B = 0xc1, UCSR0C = 0xc2, UBRR0L = 0xc4, UBRR0H = 0xc5,
                         UDR0 = 0xc6;
}  // namespace reg

namespace vect {
inline constexpr unsigned INT0 = 1, PCINT0 = 3, TIMER2_COMPA = 7, TIMER2_COMPB = 8, TIMER2_OVF = 9,
                          TIMER1_CAPT = 10, TIMER1_COMPA = 11, TIMER1_COMPB = 12, TIMER1_OVF = 13,
                          TIMER0_COMPA = 14, TIMER0_COMPB = 15, TIMER0_OVF = 16, USART_UDRE = 19,
                          USART_TX = 20, ADC = 21, ANALOG_COMP = 23;
}  // namespace vect

namespace bits {
inline constexpr std::uint8_t TSM = 0x80, PSRASY = 0x02, PSRSYNC = 0x01;  // GTCCR
inline constexpr std::uint8_t ADEN = 0x80, ADSC = 0x40, ADATE = 0x20, ADIF = 0x10, ADIE = 0x08;
inline constexpr std::uint8_t ACME = 0x40;  // ADCSRB
inline constexpr std::uint8_t ACD = 0x80, ACBG = 0x40, ACO = 0x20, ACI = 0x10, ACIE = 0x08,
                              ACIC = 0x04, ACIS = 0x03;                              // ACSR
inline constexpr std::uint8_t ADLAR = 0x20;                                          // ADMUX
inline constexpr std::uint8_t TXC = 0x40, UDRE = 0x20, U2X = 0x02;                   // UCSR0A
inline constexpr std::uint8_t TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08;  // UCSR0B
inline constexpr std::uint8_t SE = 0x01, SM = 0x0e;                                  // SMCR
inline constexpr std::uint8_t WDE = 0x08, WDIE = 0x40;                               // WDTCSR
inline constexpr std::uint8_t PUD = 0x10;                                            // MCUCR
}  // namespace bits

/// A pin of port B, C or D.
struct Pin {
  std::uint8_t port = 0;  // 0: B, 1: C, 2: D
  std::uint8_t bit = 0;   // 0 to 7
  friend bool operator==(const Pin&, const Pin&) = default;
};
inline constexpr unsigned port_count = 3;

}  // namespace stillrotor::io::mcu
