/* The shaft's angle as Linux sends it ahead: pieces angle(t) = theta0 + omega t + alpha t^2 / 2.
 * Units  angle: mechanical, 2^32 to a turn (theta) or 2^64 to a turn (all else); time: ticks.
 * Grid   the angle is exact at every step's boundary, by forward differences in integers; between
 *        two of them it runs in a straight line: off by alpha step^2 / 8, 1e-9 rad at 1e4 rad/s^2.
 * Joints a piece that does not begin where the last one stands makes no jump: what is missing is
 *        worked off at `slew` a step, and the joint is counted when it misses by more than `join`.
 * RT     integers only, O(1). One owner; nothing is shared. */
#ifndef STILLROTOR_COPROCESSOR_TRAJECTORY_H
#define STILLROTOR_COPROCESSOR_TRAJECTORY_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

struct cp_piece {
  uint32_t at;    /* tick of its beginning, on the grid of steps (else: the boundary before) */
  uint32_t theta; /* angle there */
  int64_t rate;   /* what the first step adds: omega step + alpha step^2 / 2 */
  int64_t change; /* what each step adds to rate: alpha step^2 */
};

struct cp_track_parameters {
  uint32_t step_ticks;
  uint32_t join;    /* gap at a joint that is taken for rounding */
  uint32_t slew;    /* what is worked off in a step, at most */
  uint32_t fastest; /* what a step may move at all, at most; less than 2^24 */
};

struct cp_track {
  const struct cp_track_parameters* p;
  uint64_t angle; /* of the piece */
  int64_t rate, change;
  int32_t lag;             /* what the shown angle is ahead of the piece's */
  uint32_t theta;          /* shown, at the boundary reached */
  int32_t moved;           /* by the last step */
  uint32_t gaps;           /* joints that missed by more than `join` */
  uint32_t worst_gap;      /* of those, as a distance */
  uint32_t late_pieces;    /* came after their beginning; caught up exactly */
  uint32_t too_fast_steps; /* held back to `fastest` */
};

/* Stands at theta, at rest. */
void cp_track_start(struct cp_track*, const struct cp_track_parameters*, uint32_t theta);
/* Follows this piece from the boundary `now` on; piece->at must not lie after it. */
void cp_track_join(struct cp_track*, const struct cp_piece*, uint32_t now);
/* One step on. */
void cp_track_step(struct cp_track*);

/* Where the shaft stands, for others: written after each step, `reached` last. */
struct cp_shown {
  volatile uint32_t theta;
  volatile int32_t moved;
  volatile uint32_t reached; /* tick */
};

#ifdef __cplusplus
}
#endif

#endif
