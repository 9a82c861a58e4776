// All three flags of timers 0 and 2 are set; one is cleared. What remains goes to pins:
// PD2 OCF0A, PD4 OCF0B, PB0 TOV0, PD7 OCF2A; PB2 rises when the pins are valid.
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD2) | _BV(PD4) | _BV(PD7);
  DDRB = _BV(PB0) | _BV(PB2);
  OCR0A = 10;
  OCR0B = 20;
  OCR2A = 10;
  TCCR0B = TCCR2B = 1;
  while (!(TIFR0 & _BV(TOV0)) || !(TIFR2 & _BV(OCF2A))) {
  }
  TCCR0B = TCCR2B = 0;
#ifdef BY_SBI
  TIFR0 |= _BV(TOV0);  // compiles to sbi, which names this bit alone
#elif defined(BY_READ_MODIFY_WRITE)
  uint8_t all = TIFR0;
  __asm__ volatile("" : "+r"(all));
  TIFR0 = all | _BV(TOV0);  // writes back every set flag: clears them all
#else
  TIFR0 = _BV(TOV0);
#endif
  const uint8_t left = TIFR0;
  if (left & _BV(OCF0A)) PORTD |= _BV(PD2);
  if (left & _BV(OCF0B)) PORTD |= _BV(PD4);
  if (left & _BV(TOV0)) PORTB |= _BV(PB0);
  if (TIFR2 & _BV(OCF2A)) PORTD |= _BV(PD7);
  PORTB |= _BV(PB2);
  for (;;) {
  }
}
