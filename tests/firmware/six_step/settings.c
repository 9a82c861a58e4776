#include "settings.h"

#include <avr/eeprom.h>

uint8_t EEMEM phase_order = 0;
uint8_t EEMEM hall_order = 0;
uint8_t EEMEM hall_inverted = 0;
uint8_t EEMEM hall_spacing = 120;

static const uint8_t orders[6][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1},
                                     {0, 2, 1}, {1, 0, 2}, {2, 1, 0}};
static const uint8_t *phases = orders[0], *halls = orders[0];
static uint8_t inverted, spacing;

static const uint8_t* order(const uint8_t* setting) {
  const uint8_t number = eeprom_read_byte(setting);
  return orders[number < 6 ? number : 0];
}

void settings_read(void) {
  phases = order(&phase_order);
  halls = order(&hall_order);
  inverted = eeprom_read_byte(&hall_inverted) == 1;
  spacing = eeprom_read_byte(&hall_spacing);
}

uint8_t settings_terminal(uint8_t k) { return phases[k]; }

uint8_t settings_hall_code(uint8_t lines) {
  uint8_t line[3];
  for (uint8_t k = 0; k < 3; ++k) line[k] = (lines >> halls[k] & 1) ^ inverted;
  // At 60 degrees the middle one is that of W upside down, and the last one that of V.
  if (spacing == 60) return line[0] | line[2] << 1 | (line[1] ^ 1) << 2;
  return line[0] | line[1] << 1 | line[2] << 2;
}
