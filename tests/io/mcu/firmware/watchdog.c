// Lets the watchdog (16 ms) reset it: PD2 rises after each start.
#include <avr/io.h>
#include <avr/wdt.h>

int main(void) {
  MCUSR = 0;
  wdt_enable(WDTO_15MS);
  DDRD = _BV(PD2);
  PORTD = _BV(PD2);
  for (;;) {
  }
}
