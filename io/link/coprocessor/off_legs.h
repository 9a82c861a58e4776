/* Legs with both switches off: diodes and floating terminals, without modes.
 *
 * Such a leg carries current through its low diode (out of it) or its high diode (into it), or it
 * carries none and its terminal lies where that asks, between the rails less the diodes' drops. At
 * the end of a piece that is one condition: the terminal's volt-ticks over the piece are those that
 * end its current at exactly zero, unless that lies beyond a rail; then they are the rail's.
 * It holds however the voltage ran inside the piece, because only its integral moves the current
 * (but for resistance times piece, 2e-4): a diode that turns off in mid piece, a leg that floats
 * and one that begins to conduct need no search for the moment.
 * Two or three such legs move one another: each is set in turn, from where it stood a step ago.
 * What that leaves falls by four with each step (equal inductances).
 * Source: time-stepping of complementarity problems by projected relaxation (Moreau; Cryer), from
 * memory; the condition on the piece's end derived. */
#ifndef STILLROTOR_COPROCESSOR_OFF_LEGS_H
#define STILLROTOR_COPROCESSOR_OFF_LEGS_H

#include "io/link/coprocessor/fast_plant.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Leg k has just lost both its gates: the diode of its current takes over. */
void cp_leg_turns_off(struct cp_plant*, uint32_t leg);
/* All legs off, no current, and the EMF between any two terminals below the bus and two diodes: it
 * stays so, the terminals lie about half the bus, and the piece is over. What flux there is stays,
 * for a dead time may be too short to end it. 0: not so. */
uint32_t cp_legs_rest(struct cp_plant*);
/* After a piece of `ticks`. */
void cp_settle_off_legs(struct cp_plant*, int32_t ticks);

#ifdef __cplusplus
}
#endif

#endif
