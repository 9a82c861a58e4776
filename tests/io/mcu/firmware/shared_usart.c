// ATmega8: format and high rate of the USART share an address. Sends a line of four bytes, each one
// start, eight data and two stop bits of 16 * 513 cycles; PD2 rises with the first write. PD4: what
// two reads in a row give is the rate and then the format.
#include <avr/io.h>

static void put(uint8_t byte) {
  while (!(UCSRA & _BV(UDRE))) {
  }
  UDR = byte;
}

int main(void) {
  DDRD = _BV(PD2) | _BV(PD4);
  UCSRC = _BV(URSEL) | _BV(USBS) | _BV(UCSZ1) | _BV(UCSZ0);
  UBRRH = 2;
  UBRRL = 0;
  UCSRB = _BV(TXEN);
  uint8_t rate, format;
  __asm__ volatile("in %0, %2\n in %1, %2" : "=r"(rate), "=r"(format) : "I"(_SFR_IO_ADDR(UCSRC)));
  if (rate == 2 && format == (_BV(URSEL) | _BV(USBS) | _BV(UCSZ1) | _BV(UCSZ0))) PORTD = _BV(PD4);
  PORTD |= _BV(PD2);
  put('a');
  put('b');
  put('c');
  put('\n');
  for (;;) {
  }
}
