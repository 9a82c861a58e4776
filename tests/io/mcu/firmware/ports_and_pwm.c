// Fast PWM on timers 0 and 2 from one clock edge, while the main loop keeps writing the ports of
// the very pins: OC0A (PD6) 64 of 256, OC0B (PD5) TOP, OC2A (PB3) one clock.
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD6) | _BV(PD5) | _BV(PD2);
  DDRB = _BV(PB3);
  OCR0A = 63;
  OCR0B = 255;
  OCR2A = 0;
  TCCR0A = _BV(COM0A1) | _BV(COM0B1) | _BV(WGM01) | _BV(WGM00);
  TCCR2A = _BV(COM2A1) | _BV(WGM21) | _BV(WGM20);
  GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC);
  TCCR0B = _BV(CS01);
  TCCR2B = _BV(CS21);
  GTCCR = 0;
  for (;;) {
    PORTD = _BV(PD6) | _BV(PD2);
    PORTB = _BV(PB3);
    PORTD = _BV(PD5);
    PORTB = 0;
  }
}
