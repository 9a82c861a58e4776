// ATmega8: PD4 shows the comparator's output, its negative input the converter's ADC7 (ACME in
// SFIOR).
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD4);
  ADMUX = 7;
  SFIOR = _BV(ACME);
  for (;;) PORTD = ACSR & _BV(ACO) ? _BV(PD4) : 0;
}
