/* What passes between Linux and the co-processor, as plain structs: commands with the tick from
 * which they hold, reports of a batch of steps, gate edges as they came.
 * Commands take effect at the first boundary of a step at or after their tick, in the order in
 * which they were accepted: one that is not due yet holds back those behind it. */
#ifndef STILLROTOR_COPROCESSOR_MESSAGES_H
#define STILLROTOR_COPROCESSOR_MESSAGES_H

#include <stdint.h>

#include "io/link/coprocessor/fast_plant.h"
#include "io/link/coprocessor/trajectory.h"

enum {
  CP_ALIVE,      /* nothing but a sign of life; every command is one */
  CP_PIECE,      /* of the angle */
  CP_SUPPLY,     /* source_V */
  CP_HEAT,       /* resistance and flux of the machine as temperatures make them */
  CP_CLEAR_TRIP, /* lets the fault line go and watches again */
  CP_ARM,        /* outputs live */
  CP_MAKE_SAFE,  /* outputs safe, at once: waits for no tick and no other command */
  CP_SWITCH,     /* levels of the slow lines, CP_KEY | ... */
  CP_TELL        /* what a channel of CP_SENSE_TOLD shows */
};

struct cp_command {
  uint32_t kind;
  uint32_t at;
  union {
    struct cp_piece piece; /* its own `at` counts */
    int32_t source_V;
    struct {
      struct cp_gain resistance;
      int32_t flux_scale;
    } heat;
    uint32_t levels;
    struct {
      uint32_t channel;
      int32_t code; /* above its offset; within 16 bits and a sign */
    } tell;
  } u;
};

struct cp_report {
  uint32_t at;              /* boundary at the end of the batch */
  uint32_t steps;           /* in it */
  int32_t sum_i[2];         /* of U and V over the steps' ends */
  int32_t sum_cap;          /* of v_C over them: (E - mean) / R_s is the source's mean current */
  int32_t i[2], bus;        /* at the end */
  uint32_t theta, theta_at; /* the outputs' angle, and the tick of it: some steps ahead of `at` */
  uint32_t flags;           /* CP_PLANT_... since the last report */
  uint32_t safe;            /* CP_SAFE_..., 0: live */
  uint32_t tripped, trip_due;
  /* counts since the start; none may move inside a window that is judged */
  uint32_t lost_edges;   /* by the capture */
  uint32_t late_edges;   /* came for a step already computed: counted from its end */
  uint32_t unsent_edges; /* used, but not passed upstream: nobody fetched them */
  uint32_t unsent_reports;
  uint32_t refused_commands;
  uint32_t gaps, worst_gap, late_pieces, too_fast_steps; /* trajectory.h */
  uint32_t worst_lateness; /* ticks from a step's end to its computation */
};

#endif
