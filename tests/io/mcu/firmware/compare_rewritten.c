// Writes OCR0A in the middle of a period, below the count: 200, then 50 when the count is past 100.
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD6) | _BV(PD2);
  OCR0A = 200;
  TCCR0A = _BV(COM0A1) | _BV(WGM01) | _BV(WGM00);
  TCCR0B = _BV(CS01);
  while (!(TIFR0 & _BV(TOV0))) {
  }
  while (TCNT0 < 100) {
  }
  OCR0A = 50;
  PIND = _BV(PD2);
  for (;;) {
  }
}
