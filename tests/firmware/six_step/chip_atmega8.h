// ATmega8: PWM of the high sides by Timers 1 and 2; Halls looked at by Timer 0, every 16 us, for
// this part has no pin-change interrupt.
#pragma once

#include <avr/interrupt.h>
#include <avr/io.h>

// High sides sit on compare outputs: OC1A, OC1B, OC2.
#define UH_BIT PB1
#define VH_BIT PB2
#define WH_BIT PB3
#define HIGH_D 0
#define HIGH_B (_BV(UH_BIT) | _BV(VH_BIT) | _BV(WH_BIT))

// One a PWM period.
#define PERIOD_vect TIMER2_OVF_vect
static inline void period_interrupt_on(void) { TIMSK |= _BV(TOIE2); }

#define TIMER1_FAST_8_BIT _BV(WGM10)
#define TIMER2_FAST (_BV(WGM21) | _BV(WGM20) | _BV(CS21))
static inline void pwm_disconnect(void) {
  TCCR1A = TIMER1_FAST_8_BIT;
  TCCR2 = TIMER2_FAST;
}
static inline void pwm_connect_u(void) { TCCR1A |= _BV(COM1A1); }
static inline void pwm_connect_v(void) { TCCR1A |= _BV(COM1B1); }
static inline void pwm_connect_w(void) { TCCR2 |= _BV(COM21); }
static inline void pwm_duty(uint8_t duty) {
  OCR1A = OCR1B = duty;
  OCR2 = duty;
}

/// Both timers from one edge of the clock: 16 MHz / 8 / 256 = 7812.5 Hz. Their counts are set
/// within one step of the prescalers.
static inline void pwm_start(void) {
  TCCR1B = _BV(WGM12) | _BV(CS11);
  SFIOR = _BV(PSR2) | _BV(PSR10);
  TCNT1 = 0;
  TCNT2 = 0;
}

#define HALL_vect TIMER0_OVF_vect
static inline void halls_watch(uint8_t mask) {
  (void)mask;
  TCCR0 = _BV(CS00);
  TIMSK |= _BV(TOIE0);
}

#define UCSR0B UCSRB
#define UDR0 UDR
#define TXEN0 TXEN
#define UDRIE0 UDRIE
#define UBRR0 UBRRL  // below 256
