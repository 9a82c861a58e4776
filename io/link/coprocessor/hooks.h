/* What a port to a chip supplies. Everything here is called from cp_step() (or its two halves) and
 * must return at once: no waiting, no interrupts of unknown length beneath it.
 * Ticks run through 2^32 and wrap; all stamps and times are of the same counter. */
#ifndef STILLROTOR_COPROCESSOR_HOOKS_H
#define STILLROTOR_COPROCESSOR_HOOKS_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

struct cp_gate_edge {
  uint32_t at;    /* tick of the change */
  uint32_t gates; /* all six after it, CP_UH | ... positive logic */
};

/* The free-running counter. */
uint32_t cp_port_ticks(void);
/* The oldest edge that has not been taken, in order of time; 0: none. */
uint32_t cp_port_next_edge(struct cp_gate_edge*);
/* Edges that the capture lost since the start. */
uint32_t cp_port_lost_edges(void);
/* A line (CP_HALL_U ... CP_REVERSE) moves at that tick; in the past: at once. Each line's in order.
 * While lines are released this does nothing. */
void cp_port_line(uint32_t at, uint32_t line, uint32_t high);
/* All lines let go, as before the first cp_port_drive_lines(); what is due on them is dropped. */
void cp_port_release_lines(void);
/* All lines driven, at these levels. */
void cp_port_drive_lines(uint32_t levels);
/* A converter's channel, now. */
void cp_port_code(uint32_t channel, uint32_t code);
/* For the byte frames around all this; 0: nothing there, no room. The core does not call them. */
uint32_t cp_port_byte_in(uint8_t*);
uint32_t cp_port_byte_out(uint8_t);

#ifdef __cplusplus
}
#endif

#endif
