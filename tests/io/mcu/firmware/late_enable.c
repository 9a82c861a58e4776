// The overflow flag is set long before its interrupt is enabled. PD2 marks the enabling, the
// handler toggles PD4. CLEARED: the flag is cleared first, so no interrupt may come.
#include <avr/interrupt.h>
#include <avr/io.h>

ISR(TIMER0_OVF_vect) { PIND = _BV(PD4); }

int main(void) {
  DDRD = _BV(PD2) | _BV(PD4);
  TCCR0B = 1;
  while (!(TIFR0 & _BV(TOV0))) {
  }
  TCCR0B = 0;
#ifdef CLEARED
  TIFR0 = _BV(TOV0);
#endif
  sei();
  PIND = _BV(PD2);
  TIMSK0 = _BV(TOIE0);
  for (;;) {
  }
}
