// ATmega8: what shares a register does not disturb its neighbours. PD2: the flags of Timers 0 and 1
// stand after that of Timer 2 was cleared in their TIFR. PD4: the overflow of Timer 0, flagged
// before its interrupt was enabled in the TIMSK of all, has interrupted. PB0: PUD in SFIOR takes
// the pull-up of PC0 away. PD5: SBI on ADCSRA writes back ADIF, which was set, and so clears it.
// PB2: done.
#include <avr/interrupt.h>
#include <avr/io.h>

ISR(TIMER0_OVF_vect) { PORTD |= _BV(PD4); }

static uint8_t pulled(void) {
  __asm__ volatile("nop\n nop");
  return PINC & _BV(PC0);
}

int main(void) {
  DDRD = _BV(PD2) | _BV(PD4) | _BV(PD5);
  DDRB = _BV(PB0) | _BV(PB2);
  OCR1A = 10;
  OCR2 = 20;
  TCCR0 = _BV(CS00);
  TCCR1B = _BV(CS10);
  TCCR2 = _BV(CS20);
  while ((TIFR & (_BV(TOV0) | _BV(OCF1A) | _BV(OCF2))) != (_BV(TOV0) | _BV(OCF1A) | _BV(OCF2))) {
  }
  TCCR0 = TCCR1B = TCCR2 = 0;
  TIFR = _BV(OCF2);
  if ((TIFR & (_BV(TOV0) | _BV(OCF1A) | _BV(OCF2))) == (_BV(TOV0) | _BV(OCF1A))) PORTD |= _BV(PD2);
  sei();
  TIMSK = _BV(TOIE0);
  PORTC = _BV(PC0);
  if (pulled()) {
    SFIOR |= _BV(PUD);
    if (!pulled()) PORTB |= _BV(PB0);
  }
  ADCSRA = _BV(ADEN) | _BV(ADSC) | 2;
  while (!(ADCSRA & _BV(ADIF))) {
  }
  ADCSRA |= _BV(ADSC);  // compiles to sbi
  if (!(ADCSRA & _BV(ADIF))) PORTD |= _BV(PD5);
  PORTB |= _BV(PB2);
  for (;;) {
  }
}
