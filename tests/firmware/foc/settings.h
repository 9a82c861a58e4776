// What differs from machine to machine and from one hand's wiring to the next: set before the drive
// starts, and kept while it runs. The defaults are the orchard cart's. SETTINGS_STAND_IN: the
// attribute that puts them where a chip keeps its parameters.
#pragma once

#include <stdint.h>

struct settings {
  int32_t pole_pairs;
  // Which terminal is the machine's U, V, W, and which line its Halls': 0 UVW, 1 VWU, 2 WUV,
  // 3 UWV, 4 VUW, 5 WVU.
  int32_t phase_order, hall_order;
  int32_t hall_inverted;      // 1: all three lines
  int32_t hall_spacing_deg;   // 120 or 60
  int32_t encoder_lines;      // a turn
  int32_t encoder_direction;  // 1, or -1: counts down as the machine turns forward
  float index_deg;            // mechanical
  float angle_offset_deg;     // electrical, added to what the sensors say
  float current_V_per_A;      // of the sensors
  float current_zero_V;       // their zero, where it is not measured
  int32_t measures_zero;      // 1: at power-up
  float full_speed_rpm;       // above 0: the throttle asks for a speed, this one when full
  float limited_rpm;          // of the machine while speed_limit is on; 0: that means nothing
  int32_t learns;             // 1: key on starts the learning routine in place of the drive
};
extern struct settings settings;

/// Terminal or line of phase k in that order.
int order_of(int32_t order, int k);
/// The sector that each code of the Halls' lines, U + 2 V + 4 W, shows: sector k lies about k * 60
/// degrees; -1: none.
void hall_sectors(int8_t sector_of[8]);
