// How the machine is wired, from the EEPROM: one byte each, by these names.
//   phase_order, hall_order  which terminal is the machine's U, V, W, and which line its Halls':
//                            0 UVW, 1 VWU, 2 WUV, 3 UWV, 4 VUW, 5 WVU
//   hall_inverted            1: all three lines
//   hall_spacing             120 or 60 degrees
#pragma once

#include <stdint.h>

/// Reads them; values that are none count as 0, or as 120 degrees.
void settings_read(void);
/// The terminal of phase k.
uint8_t settings_terminal(uint8_t k);
/// The Halls' code as 120 degrees apart and in the machine's order would show it.
uint8_t settings_hall_code(uint8_t lines);
