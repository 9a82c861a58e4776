#include "lamp.h"

#include "board.h"

#define PERIODS(seconds) ((uint16_t)((seconds)*7812.5 + 0.5))
#define BLINK PERIODS(0.25)  // lit, and dark
#define PAUSE PERIODS(1.5)

static uint8_t blinks_left;
static uint16_t wait;  // periods until something changes
static uint8_t lit;

void lamp_init(void) { DDRB |= _BV(LAMP_BIT); }

void lamp_period(uint8_t code) {
  if (wait > 0) {
    --wait;
    return;
  }
  if (lit) {
    PORTB &= (uint8_t)~_BV(LAMP_BIT);
    lit = 0;
    wait = blinks_left > 0 ? BLINK : PAUSE;
    return;
  }
  if (blinks_left == 0) blinks_left = code;
  if (blinks_left == 0) return;
  --blinks_left;
  PORTB |= _BV(LAMP_BIT);
  lit = 1;
  wait = BLINK;
}
