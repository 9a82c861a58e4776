// Shows the level of PC0 on PD2; PULL: with the pull-up of PC0 on.
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD2);
#ifdef PULL
  PORTC = _BV(PC0);
#endif
  for (;;) {
    if (PINC & _BV(PC0))
      PORTD = _BV(PD2);
    else
      PORTD = 0;
  }
}
