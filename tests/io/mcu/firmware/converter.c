// One conversion after the first: PD2 rises just before ADSC is written. MUX goes on to another
// input while it runs (after one ADC clock, as the datasheet allows). The result is said.
#include <avr/io.h>
#include <stdio.h>
#include <util/delay.h>

static int send(char c, FILE* stream) {
  (void)stream;
  while (!(UCSR0A & _BV(UDRE0))) {
  }
  UDR0 = (uint8_t)c;
  return 0;
}
static FILE serial = FDEV_SETUP_STREAM(send, NULL, _FDEV_SETUP_WRITE);

int main(void) {
  UBRR0 = 0;
  UCSR0B = _BV(TXEN0);
  stdout = &serial;
  DDRD = _BV(PD2);
  ADMUX = _BV(REFS0) | 4;
  ADCSRA = _BV(ADEN) | 5;  // 16 MHz / 32
  ADCSRA |= _BV(ADSC);
  while (ADCSRA & _BV(ADSC)) {
  }
  for (;;) {
    ADMUX = _BV(REFS0) | 4;
    PORTD = _BV(PD2);
    ADCSRA |= _BV(ADSC);
    _delay_us(2.5);  // past one ADC clock (32 cycles), before the sample (at least 49)
    ADMUX = _BV(REFS0) | 3;
    while (ADCSRA & _BV(ADSC)) {
    }
    PORTD = 0;
    printf("%u\n", ADC);
  }
}
