#include "words.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdint.h>

#include "board.h"

#define BAUD 38400
#include <util/setbaud.h>

#define QUEUE_SIZE 128  // a power of two
static char queue[QUEUE_SIZE];
static volatile uint8_t first, end;

void words_init(void) {
  UBRR0 = UBRR_VALUE;
  UCSR0B = _BV(TXEN0);
}

ISR(USART_UDRE_vect) {
  if (first == end) {
    UCSR0B = _BV(TXEN0);
    return;
  }
  UDR0 = queue[first];
  first = (first + 1) % QUEUE_SIZE;
}

static void put(char c) {
  const uint8_t next = (end + 1) % QUEUE_SIZE;
  if (next == first) return;
  queue[end] = c;
  end = next;
}

void say(const char* text_in_flash) {
  for (char c; (c = (char)pgm_read_byte(text_in_flash)) != 0; ++text_in_flash) put(c);
  put('\n');
  UCSR0B = _BV(TXEN0) | _BV(UDRIE0);
}
