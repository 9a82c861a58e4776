// ATmega328P: PWM of the high sides by Timers 0 and 2, Halls by a pin-change interrupt.
#pragma once

#include <avr/interrupt.h>
#include <avr/io.h>

// High sides sit on compare outputs: OC0A, OC0B, OC2A.
#define UH_BIT PD6
#define VH_BIT PD5
#define WH_BIT PB3
#define HIGH_D (_BV(UH_BIT) | _BV(VH_BIT))
#define HIGH_B _BV(WH_BIT)

// One a PWM period.
#define PERIOD_vect TIMER0_OVF_vect
static inline void period_interrupt_on(void) { TIMSK0 = _BV(TOIE0); }

static inline void pwm_disconnect(void) {
  TCCR0A = _BV(WGM01) | _BV(WGM00);
  TCCR2A = _BV(WGM21) | _BV(WGM20);
}
static inline void pwm_connect_u(void) { TCCR0A |= _BV(COM0A1); }
static inline void pwm_connect_v(void) { TCCR0A |= _BV(COM0B1); }
static inline void pwm_connect_w(void) { TCCR2A |= _BV(COM2A1); }
static inline void pwm_duty(uint8_t duty) { OCR0A = OCR0B = OCR2A = duty; }

/// Both timers from one edge of the clock: 16 MHz / 8 / 256 = 7812.5 Hz.
static inline void pwm_start(void) {
  GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC);
  TCCR0B = _BV(CS01);
  TCCR2B = _BV(CS21);
  TCNT0 = TCNT2 = 0;
  GTCCR = 0;
}

// Halls change a pin: an interrupt of its own.
#define HALL_vect PCINT1_vect
static inline void halls_watch(uint8_t mask) {
  PCMSK1 = mask;
  PCICR = _BV(PCIE1);
}
