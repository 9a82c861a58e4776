// Measures high pulses in ticks of Timer1 (0.5 us at 16 MHz) and says each width in decimal.
// BY_INT0, BY_PIN_CHANGE: on PD2, by the count when the interrupt looks.
// BY_CAPTURE: on PB0, by the count that the edge itself has stored; BY_COMPARATOR: on AIN0 above
// AIN1.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdlib.h>

static volatile uint16_t rise, width;
static volatile uint8_t measured;

static void edge(uint8_t high, uint16_t count) {
  if (high) {
    rise = count;
  } else {
    width = count - rise;
    measured = 1;
  }
}

#ifdef BY_CAPTURE
ISR(TIMER1_CAPT_vect) {
  const uint8_t high = TCCR1B & _BV(ICES1);
  edge(high, ICR1);
  TCCR1B ^= _BV(ICES1);
  TIFR1 = _BV(ICF1);
}
#else
#ifdef BY_INT0
ISR(INT0_vect) {
#else
ISR(PCINT2_vect) {
#endif
  const uint16_t count = TCNT1;
  edge(PIND & _BV(PD2), count);
}
#endif

static void say(uint16_t value) {
  char digits[7];
  utoa(value, digits, 10);
  for (const char* at = digits;; ++at) {
    while (!(UCSR0A & _BV(UDRE0))) {
    }
    UDR0 = *at ? *at : '\n';
    if (!*at) return;
  }
}

int main(void) {
  UBRR0 = 25;
  UCSR0B = _BV(TXEN0);
  TCCR1B = _BV(CS11);
#ifdef BY_CAPTURE
  TCCR1B |= _BV(ICES1);
#ifdef CANCEL_NOISE
  TCCR1B |= _BV(ICNC1);
#endif
#ifdef BY_COMPARATOR
  ACSR = _BV(ACIC);
#endif
  TIMSK1 = _BV(ICIE1);
#elif defined BY_INT0
  EICRA |= _BV(ISC00);
  EIMSK = _BV(INT0);
#else
  PCMSK2 = _BV(PCINT18);
  PCICR = _BV(PCIE2);
#endif
  sei();
  for (;;) {
    sleep_mode();
    if (measured) {
      measured = 0;
      say(width);
    }
  }
}
