#include "settings.h"

#include "board.h"

#ifndef SETTINGS_STAND_IN
#define SETTINGS_STAND_IN
#endif

SETTINGS_STAND_IN struct settings settings = {
    .pole_pairs = 4,
    .hall_spacing_deg = 120,
    .encoder_lines = 64,
    .encoder_direction = 1,
    .index_deg = 30.0f,
    .current_V_per_A = CURRENT_V_PER_A,
    .current_zero_V = OFFSET_V,
    .measures_zero = 1,
    .limited_rpm = 600.0f,
};

int order_of(int32_t order, int k) {
  static const int8_t orders[6][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1},
                                      {0, 2, 1}, {1, 0, 2}, {2, 1, 0}};
  return orders[order][k];
}

/// The code as Halls 120 degrees apart and in the machine's order would show it.
static uint8_t hall_code(int lines) {
  uint8_t line[3];
  for (int k = 0; k < 3; ++k)
    line[k] = (uint8_t)((lines >> order_of(settings.hall_order, k) & 1) != settings.hall_inverted);
  // At 60 degrees the middle one is that of W upside down, and the last one that of V.
  if (settings.hall_spacing_deg == 60)
    return (uint8_t)(line[0] | line[2] << 1 | (line[1] ^ 1) << 2);
  return (uint8_t)(line[0] | line[1] << 1 | line[2] << 2);
}

void hall_sectors(int8_t sector_of[8]) {
  static const int8_t by_code[8] = {-1, 0, 2, 1, 4, 5, 3, -1};
  for (int lines = 0; lines < 8; ++lines) sector_of[lines] = by_code[hall_code(lines)];
}
