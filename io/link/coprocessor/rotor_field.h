/* What the rotor's angle does to the fast plant: the magnets' flux, the saliency; and the source's
 * current. Looked at once in CP_REFRESH_STEPS steps, a slice in each so that no step is long, and
 * run in straight lines between. The EMF of an interval is the difference of the magnets' flux at
 * its ends, less what rounding left over in the last one: the flux never drifts from the angle,
 * whatever the speed. Error of the straight line: (omega T)^2 / 8 of the flux (1e-5 at 200 Hz, T =
 * 8 us) and twice that angle for the saliency; of the table of 256 points: 7.5e-5 of the flux. */
#ifndef STILLROTOR_COPROCESSOR_ROTOR_FIELD_H
#define STILLROTOR_COPROCESSOR_ROTOR_FIELD_H

#include "io/link/coprocessor/fast_plant.h"

#ifdef __cplusplus
extern "C" {
#endif

void cp_field_start(struct cp_plant*, uint32_t theta, int32_t moved);
/* After each whole step. Nonzero: it wants cp_field_aim() before the next. */
uint32_t cp_field_step(struct cp_plant*);
/* The angle CP_FIELD_AHEAD steps from now, at the end of the next interval. */
enum { CP_FIELD_AHEAD = 2 * CP_REFRESH_STEPS - 1 };
void cp_field_aim(struct cp_plant*, uint32_t theta);

#ifdef __cplusplus
}
#endif

#endif
