// Conversions on their own. FREE: free running. Else at each compare match B of timer 1, every
// 2000 cycles; the flag is cleared by its interrupt, so that it can trigger again.
#include <avr/interrupt.h>
#include <avr/io.h>

EMPTY_INTERRUPT(TIMER1_COMPB_vect)

int main(void) {
  ADMUX = _BV(REFS0) | 4;
#ifdef FREE
#ifdef ADCSRB
  ADCSRB = 0;
#endif
#else
  ADCSRB = _BV(ADTS2) | _BV(ADTS0);
  OCR1A = 1999;
  OCR1B = 999;
  TIMSK1 = _BV(OCIE1B);
  TCCR1B = _BV(WGM12) | _BV(CS10);
  sei();
#endif
  ADCSRA = _BV(ADEN) | _BV(ADATE) | 4;  // 16 MHz / 16
#ifdef FREE
  ADCSRA |= _BV(ADSC);
#endif
  for (;;) {
  }
}
