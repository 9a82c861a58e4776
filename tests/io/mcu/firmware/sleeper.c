// Sleeps between overflows of timer 1 (65536 cycles); each handler toggles PD2.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

ISR(TIMER1_OVF_vect) { PIND = _BV(PD2); }

int main(void) {
  DDRD = _BV(PD2);
  TIMSK1 = _BV(TOIE1);
  TCCR1B = _BV(CS10);
  set_sleep_mode(MODE);
#ifndef INTERRUPTS_OFF
  sei();
#endif
  for (;;) sleep_mode();
}
