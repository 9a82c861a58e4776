// Source: avr-libc, avr/iom328p.h.
#include <gtest/gtest.h>

#include "io/mcu/parts/part.hpp"
#include "tests/io/mcu/parts/is_bits.hpp"

#ifdef STILLROTOR_IOM328P
#include "tests/io/mcu/parts/avr_libc.hpp"
#include STILLROTOR_IOM328P

namespace stillrotor::io::mcu {
namespace {

const Part& part = atmega328p;

TEST(Atmega328p, HasTheMemoriesOfAvrLibc) {
  EXPECT_EQ(part.flash_bytes, FLASHEND + 1u);
  EXPECT_EQ(part.eeprom_bytes, E2END + 1u);
}

TEST(Atmega328p, HasThePinRegistersAndInterruptsOfAvrLibc) {
  EXPECT_EQ(part.pins.registers[0], PINB);
  EXPECT_EQ(part.pins.registers[0] + 1, DDRB);
  EXPECT_EQ(part.pins.registers[0] + 2, PORTB);
  EXPECT_EQ(part.pins.registers[1], PINC);
  EXPECT_EQ(part.pins.registers[2], PIND);
  EXPECT_TRUE(is_bits(part.pins.pull_up_disable, MCUCR, 1 << PUD));
  EXPECT_EQ(part.external.mask, EIMSK);
  EXPECT_EQ(part.external.flags, EIFR);
  EXPECT_EQ(part.external.in[0], 1 << INT0);
  EXPECT_EQ(part.external.in[1], 1 << INT1);
  EXPECT_EQ(part.external.sense, EICRA);
  EXPECT_EQ(part.external.first_vector, INT0_vect_num);
  EXPECT_EQ(part.external.change.control, PCICR);
  EXPECT_EQ(part.external.change.flags, PCIFR);
  EXPECT_EQ(part.external.change.first_mask, PCMSK0);
  EXPECT_EQ(part.external.change.first_vector, PCINT0_vect_num);
  EXPECT_EQ(part.prescalers.at, GTCCR);
  EXPECT_EQ(part.prescalers.reset_01, 1 << PSRSYNC);
  EXPECT_EQ(part.prescalers.reset_2, 1 << PSRASY);
  EXPECT_EQ(part.prescalers.hold, 1 << TSM);
}

TEST(Atmega328p, HasTheTimersOfAvrLibc) {
  const TimerLayout& t0 = part.timers[0];
  EXPECT_TRUE(is_bits(t0.mode[0], TCCR0A, 1 << WGM00));
  EXPECT_TRUE(is_bits(t0.mode[1], TCCR0A, 1 << WGM01));
  EXPECT_TRUE(is_bits(t0.mode[2], TCCR0B, 1 << WGM02));
  EXPECT_EQ(t0.clock_select, TCCR0B);
  EXPECT_EQ(t0.count, TCNT0);
  EXPECT_EQ(t0.mask, TIMSK0);
  EXPECT_EQ(t0.flags, TIFR0);
  EXPECT_EQ(t0.interrupts, 1 << OCIE0B | 1 << OCIE0A | 1 << TOIE0);
  EXPECT_EQ(t0.overflow_vector, TIMER0_OVF_vect_num);
  EXPECT_TRUE(
      is_channel(t0.compare[0], OCR0A, TCCR0A, COM0A0, TCCR0B, 1 << FOC0A, TIMER0_COMPA_vect_num));
  EXPECT_TRUE(
      is_channel(t0.compare[1], OCR0B, TCCR0A, COM0B0, TCCR0B, 1 << FOC0B, TIMER0_COMPB_vect_num));
  EXPECT_TRUE(is_bits(t0.power_reduction, PRR, 1 << PRTIM0));

  const TimerLayout& t1 = part.timers[1];
  EXPECT_TRUE(is_bits(t1.mode[0], TCCR1A, 1 << WGM10));
  EXPECT_TRUE(is_bits(t1.mode[1], TCCR1A, 1 << WGM11));
  EXPECT_TRUE(is_bits(t1.mode[2], TCCR1B, 1 << WGM12));
  EXPECT_TRUE(is_bits(t1.mode[3], TCCR1B, 1 << WGM13));
  EXPECT_EQ(t1.clock_select, TCCR1B);
  EXPECT_EQ(t1.count, TCNT1L);
  EXPECT_EQ(t1.mask, TIMSK1);
  EXPECT_EQ(t1.flags, TIFR1);
  EXPECT_EQ(t1.interrupts, 1 << ICIE1 | 1 << OCIE1B | 1 << OCIE1A | 1 << TOIE1);
  EXPECT_EQ(t1.overflow_vector, TIMER1_OVF_vect_num);
  EXPECT_TRUE(
      is_channel(t1.compare[0], OCR1AL, TCCR1A, COM1A0, TCCR1C, 1 << FOC1A, TIMER1_COMPA_vect_num));
  EXPECT_TRUE(
      is_channel(t1.compare[1], OCR1BL, TCCR1A, COM1B0, TCCR1C, 1 << FOC1B, TIMER1_COMPB_vect_num));
  EXPECT_EQ(t1.capture.value, ICR1L);
  EXPECT_TRUE(is_bits(t1.capture.rising, TCCR1B, 1 << ICES1));
  EXPECT_TRUE(is_bits(t1.capture.cancel_noise, TCCR1B, 1 << ICNC1));
  EXPECT_EQ(t1.capture.interrupt, 1 << ICIE1);
  EXPECT_EQ(t1.capture.vector, TIMER1_CAPT_vect_num);
  EXPECT_TRUE(is_bits(t1.power_reduction, PRR, 1 << PRTIM1));

  const TimerLayout& t2 = part.timers[2];
  EXPECT_TRUE(is_bits(t2.mode[0], TCCR2A, 1 << WGM20));
  EXPECT_TRUE(is_bits(t2.mode[1], TCCR2A, 1 << WGM21));
  EXPECT_TRUE(is_bits(t2.mode[2], TCCR2B, 1 << WGM22));
  EXPECT_EQ(t2.clock_select, TCCR2B);
  EXPECT_EQ(t2.count, TCNT2);
  EXPECT_EQ(t2.mask, TIMSK2);
  EXPECT_EQ(t2.flags, TIFR2);
  EXPECT_EQ(t2.interrupts, 1 << OCIE2B | 1 << OCIE2A | 1 << TOIE2);
  EXPECT_EQ(t2.overflow_vector, TIMER2_OVF_vect_num);
  EXPECT_TRUE(
      is_channel(t2.compare[0], OCR2A, TCCR2A, COM2A0, TCCR2B, 1 << FOC2A, TIMER2_COMPA_vect_num));
  EXPECT_TRUE(
      is_channel(t2.compare[1], OCR2B, TCCR2A, COM2B0, TCCR2B, 1 << FOC2B, TIMER2_COMPB_vect_num));
  EXPECT_TRUE(is_bits(t2.power_reduction, PRR, 1 << PRTIM2));
}

TEST(Atmega328p, HasTheOtherRegistersOfAvrLibc) {
  const ConverterLayout& converter = part.converter;
  EXPECT_EQ(converter.low, ADCL);
  EXPECT_EQ(converter.high, ADCH);
  EXPECT_EQ(converter.control, ADCSRA);
  EXPECT_EQ(converter.multiplexer, ADMUX);
  EXPECT_TRUE(is_bits(converter.trigger, ADCSRB, 1 << ADTS2 | 1 << ADTS1 | 1 << ADTS0));
  EXPECT_EQ(converter.vector, ADC_vect_num);
  EXPECT_EQ(part.comparator.control, ACSR);
  EXPECT_TRUE(is_bits(part.comparator.multiplexer_enable, ADCSRB, 1 << ACME));
  EXPECT_EQ(part.comparator.vector, ANALOG_COMP_vect_num);
  EXPECT_EQ(part.usart.status, UCSR0A);
  EXPECT_EQ(part.usart.control, UCSR0B);
  EXPECT_EQ(part.usart.format, UCSR0C);
  EXPECT_EQ(part.usart.rate_low, UBRR0L);
  EXPECT_EQ(part.usart.rate_high, UBRR0H);
  EXPECT_EQ(part.usart.data, UDR0);
  EXPECT_EQ(part.usart.empty_vector, USART_UDRE_vect_num);
  EXPECT_EQ(part.usart.complete_vector, USART_TX_vect_num);
  EXPECT_TRUE(is_bits(part.power.sleep_enable, SMCR, 1 << SE));
  EXPECT_TRUE(is_bits(part.power.sleep_mode, SMCR, 1 << SM2 | 1 << SM1 | 1 << SM0));
  EXPECT_EQ(part.power.reset_flags, MCUSR);
  EXPECT_TRUE(is_bits(part.power.watchdog, WDTCSR, 1 << WDE | 1 << WDIE));
  EXPECT_EQ(part.power.reduction, PRR);
  EXPECT_TRUE(is_bits(part.power.clock_divisor, CLKPR,
                      1 << CLKPS3 | 1 << CLKPS2 | 1 << CLKPS1 | 1 << CLKPS0));
  EXPECT_TRUE(is_bits(part.power.asynchronous, ASSR, 1 << EXCLK | 1 << AS2));
  EXPECT_EQ(part.power.serial_interface, SPCR);
}

}  // namespace
}  // namespace stillrotor::io::mcu
#else
TEST(Atmega328p, IsHeldAgainstAvrLibc) { GTEST_SKIP() << "avr-libc is not installed"; }
#endif
