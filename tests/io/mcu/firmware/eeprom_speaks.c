// Says what stands in its EEPROM, and raises PD2 for as long as each letter's value in loops.
#include <avr/eeprom.h>
#include <avr/io.h>

EEMEM const char word[] = "orchard\n";

int main(void) {
  UBRR0 = 25;
  UCSR0B = _BV(TXEN0);
  DDRD = _BV(PD2);
  for (const char* at = word; at != word + sizeof word - 1; ++at) {
    const uint8_t letter = eeprom_read_byte((const uint8_t*)at);
    while (!(UCSR0A & _BV(UDRE0))) {
    }
    UDR0 = letter;
    PORTD = _BV(PD2);
    for (volatile uint8_t n = letter; n != 0; --n) {
    }
    PORTD = 0;
  }
  for (;;) {
  }
}
