// Source: avr-libc, avr/iom8.h.
#include <gtest/gtest.h>

#include "io/mcu/parts/part.hpp"
#include "tests/io/mcu/parts/is_bits.hpp"

#ifdef STILLROTOR_IOM8
#include "tests/io/mcu/parts/avr_libc.hpp"
#include STILLROTOR_IOM8

namespace stillrotor::io::mcu {
namespace {

const Part& part = atmega8;

TEST(Atmega8, HasTheMemoriesOfAvrLibc) {
  EXPECT_EQ(part.flash_bytes, FLASHEND + 1u);
  EXPECT_EQ(part.eeprom_bytes, E2END + 1u);
}

TEST(Atmega8, HasThePinRegistersAndInterruptsOfAvrLibc) {
  EXPECT_EQ(part.pins.registers[0], PINB);
  EXPECT_EQ(part.pins.registers[0] + 1, DDRB);
  EXPECT_EQ(part.pins.registers[0] + 2, PORTB);
  EXPECT_EQ(part.pins.registers[1], PINC);
  EXPECT_EQ(part.pins.registers[2], PIND);
  EXPECT_TRUE(is_bits(part.pins.pull_up_disable, SFIOR, 1 << PUD));
  EXPECT_EQ(part.external.mask, GICR);
  EXPECT_EQ(part.external.flags, GIFR);
  EXPECT_EQ(part.external.in[0], 1 << INT0);
  EXPECT_EQ(part.external.in[1], 1 << INT1);
  EXPECT_EQ(part.external.sense, MCUCR);
  EXPECT_EQ(3 << ISC00 | 3 << ISC10, 0x0f);
  EXPECT_EQ(part.external.first_vector, INT0_vect_num);
  EXPECT_EQ(part.prescalers.at, SFIOR);
  EXPECT_EQ(part.prescalers.reset_01, 1 << PSR10);
  EXPECT_EQ(part.prescalers.reset_2, 1 << PSR2);
}

TEST(Atmega8, HasTheTimersOfAvrLibc) {
  const TimerLayout& t0 = part.timers[0];
  EXPECT_EQ(t0.clock_select, TCCR0);
  EXPECT_EQ(t0.count, TCNT0);
  EXPECT_EQ(t0.mask, TIMSK);
  EXPECT_EQ(t0.flags, TIFR);
  EXPECT_EQ(t0.interrupts, 1 << TOIE0);
  EXPECT_EQ(t0.overflow_vector, TIMER0_OVF_vect_num);

  const TimerLayout& t1 = part.timers[1];
  EXPECT_TRUE(is_bits(t1.mode[0], TCCR1A, 1 << WGM10));
  EXPECT_TRUE(is_bits(t1.mode[1], TCCR1A, 1 << WGM11));
  EXPECT_TRUE(is_bits(t1.mode[2], TCCR1B, 1 << WGM12));
  EXPECT_TRUE(is_bits(t1.mode[3], TCCR1B, 1 << WGM13));
  EXPECT_EQ(t1.clock_select, TCCR1B);
  EXPECT_EQ(t1.count, TCNT1L);
  EXPECT_EQ(t1.mask, TIMSK);
  EXPECT_EQ(t1.flags, TIFR);
  EXPECT_EQ(t1.interrupts, 1 << TICIE1 | 1 << OCIE1B | 1 << OCIE1A | 1 << TOIE1);
  EXPECT_EQ(t1.overflow_vector, TIMER1_OVF_vect_num);
  EXPECT_TRUE(
      is_channel(t1.compare[0], OCR1AL, TCCR1A, COM1A0, TCCR1A, 1 << FOC1A, TIMER1_COMPA_vect_num));
  EXPECT_TRUE(
      is_channel(t1.compare[1], OCR1BL, TCCR1A, COM1B0, TCCR1A, 1 << FOC1B, TIMER1_COMPB_vect_num));
  EXPECT_EQ(t1.capture.value, ICR1L);
  EXPECT_TRUE(is_bits(t1.capture.rising, TCCR1B, 1 << ICES1));
  EXPECT_TRUE(is_bits(t1.capture.cancel_noise, TCCR1B, 1 << ICNC1));
  EXPECT_EQ(t1.capture.interrupt, 1 << TICIE1);
  EXPECT_EQ(t1.capture.vector, TIMER1_CAPT_vect_num);

  const TimerLayout& t2 = part.timers[2];
  EXPECT_TRUE(is_bits(t2.mode[0], TCCR2, 1 << WGM20));
  EXPECT_TRUE(is_bits(t2.mode[1], TCCR2, 1 << WGM21));
  EXPECT_EQ(t2.clock_select, TCCR2);
  EXPECT_EQ(t2.count, TCNT2);
  EXPECT_EQ(t2.mask, TIMSK);
  EXPECT_EQ(t2.flags, TIFR);
  EXPECT_EQ(t2.interrupts, 1 << OCIE2 | 1 << TOIE2);
  EXPECT_EQ(t2.overflow_vector, TIMER2_OVF_vect_num);
  EXPECT_TRUE(
      is_channel(t2.compare[0], OCR2, TCCR2, COM20, TCCR2, 1 << FOC2, TIMER2_COMP_vect_num));
}

TEST(Atmega8, HasTheOtherRegistersOfAvrLibc) {
  const ConverterLayout& converter = part.converter;
  EXPECT_EQ(converter.low, ADCL);
  EXPECT_EQ(converter.high, ADCH);
  EXPECT_EQ(converter.control, ADCSRA);
  EXPECT_EQ(1 << ADFR, 0x20) << "where the other part has ADATE";
  EXPECT_EQ(converter.multiplexer, ADMUX);
  EXPECT_EQ(converter.vector, ADC_vect_num);
  EXPECT_EQ(part.comparator.control, ACSR);
  EXPECT_TRUE(is_bits(part.comparator.multiplexer_enable, SFIOR, 1 << ACME));
  EXPECT_EQ(part.comparator.vector, ANA_COMP_vect_num);
  EXPECT_EQ(part.usart.status, UCSRA);
  EXPECT_EQ(part.usart.control, UCSRB);
  EXPECT_EQ(part.usart.format, UCSRC);
  EXPECT_EQ(part.usart.rate_high, UBRRH);
  EXPECT_EQ(1 << URSEL, 0x80);
  EXPECT_EQ(part.usart.rate_low, UBRRL);
  EXPECT_EQ(part.usart.data, UDR);
  EXPECT_EQ(part.usart.empty_vector, USART_UDRE_vect_num);
  EXPECT_EQ(part.usart.complete_vector, USART_TXC_vect_num);
  EXPECT_TRUE(is_bits(part.power.sleep_enable, MCUCR, 1 << SE));
  EXPECT_TRUE(is_bits(part.power.sleep_mode, MCUCR, 1 << SM2 | 1 << SM1 | 1 << SM0));
  EXPECT_EQ(part.power.reset_flags, MCUCSR);
  EXPECT_TRUE(is_bits(part.power.watchdog, WDTCR, 1 << WDE));
  EXPECT_TRUE(is_bits(part.power.asynchronous, ASSR, 1 << AS2));
  EXPECT_EQ(part.power.serial_interface, SPCR);
}

}  // namespace
}  // namespace stillrotor::io::mcu
#else
TEST(Atmega8, IsHeldAgainstAvrLibc) { GTEST_SKIP() << "avr-libc is not installed"; }
#endif
