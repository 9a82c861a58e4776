/* Halls, incremental encoder with index, absolute angle word: lines of the shaft's angle, each edge
 * at its own tick.
 * Signs  as plant/sensors: Hall k is high while theta_e less its place lies in a half turn; A leads
 *        B when turning forward; Z is high for index_counts counts from index_count on.
 * Edges  the first tick at which the line's angle has crossed; at most one of each Hall and one
 *        count of the encoder in a step, which bounds the speed: counts * turns a step < 1. The
 *        track holds its movement below that (cp_track_parameters.fastest), so no edge is lost.
 * RT     integers only; a 32-bit division for each edge, none without one. */
#ifndef STILLROTOR_COPROCESSOR_ANGLE_OUTPUTS_H
#define STILLROTOR_COPROCESSOR_ANGLE_OUTPUTS_H

#include <stdint.h>

#include "io/link/coprocessor/trajectory.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
  CP_HALL_U = 1,
  CP_HALL_V = 2,
  CP_HALL_W = 4,
  CP_ENCODER_A = 8,
  CP_ENCODER_B = 16,
  CP_ENCODER_Z = 32,
  CP_FAULT = 64, /* trip.h */
  /* slow ones, at levels that Linux says: CP_SWITCH */
  CP_KEY = 128,
  CP_BRAKE = 256,
  CP_REVERSE = 512
};

struct cp_angle_parameters {
  uint32_t step_ticks;
  uint32_t pole_pairs;
  uint32_t halls;        /* 0: not fitted */
  uint32_t hall_rise[3]; /* electrical angle from which the line is high for half a turn, forward */
  uint32_t encoder_counts;            /* 4 * lines, at most 65536; 0: not fitted */
  uint32_t index_count, index_counts; /* Z: first count, number of counts */
  uint32_t reversed;                  /* B leads A */
  uint32_t word_bits;                 /* 8 to 20 of the absolute angle; 0: not fitted */
  uint32_t word_turns;                /* words a mechanical turn (1, or pole_pairs) */
  uint32_t word_zero;                 /* angle of word 0, 2^32 to a word's turn */
};

struct cp_line_edge {
  uint32_t at;
  uint32_t line; /* CP_HALL_U ... */
  uint32_t high;
};

struct cp_angle_outputs {
  const struct cp_angle_parameters* p;
  uint32_t levels; /* of all lines, after the last step */
  uint32_t count;  /* of the encoder, 0 to encoder_counts - 1 */
};

/* Levels at this angle, without edges. */
void cp_angle_start(struct cp_angle_outputs*, const struct cp_angle_parameters*, uint32_t theta);

enum { CP_ANGLE_EDGES = 6 }; /* in a step: three Halls; A or B, and Z */

/* Edges of the step that begins at tick `begin` and has just been taken by the track. In order of
 * time; returns their number. */
uint32_t cp_angle_step(struct cp_angle_outputs*, const struct cp_track*, uint32_t begin,
                       struct cp_line_edge edges[CP_ANGLE_EDGES]);

/* The word as the controller selects the sensor at tick `at`, at most 1024 ticks before the
 * boundary that the track has reached; straight back from there. word_bits must not be 0. */
uint32_t cp_angle_word(const struct cp_angle_parameters*, const struct cp_track*, uint32_t reached,
                       uint32_t at);

#ifdef __cplusplus
}
#endif

#endif
