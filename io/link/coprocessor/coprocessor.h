/* The co-processor's main step: everything put together.
 *
 * Two halves share nothing but a few words that one writes and the other reads, and may run on two
 * cores: the plant's half takes gate edges and runs behind them (a step is computed when it is
 * over), the motion half runs ahead (an edge of a line is handed to the port a step before it is
 * due). Each has its own track of the same trajectory and its own queue of commands.
 *
 * A call computes one step where one is due; it never waits.
 *
 *   one core    for (;;) cp_step(&cp);
 *   two cores   for (;;) cp_plant_half(&cp);       |  for (;;) cp_motion_half(&cp);
 *               cp_accept, cp_take_report, cp_take_gate_edge: on the motion half's core.
 *
 * RT  no allocation, lock or wait. Queues have one writer and one reader; their indices are
 *     volatile words, which is enough between cores without caches or reordering. */
#ifndef STILLROTOR_COPROCESSOR_COPROCESSOR_H
#define STILLROTOR_COPROCESSOR_COPROCESSOR_H

#include <stdint.h>

#include "io/link/coprocessor/angle_outputs.h"
#include "io/link/coprocessor/fast_plant.h"
#include "io/link/coprocessor/guard.h"
#include "io/link/coprocessor/hooks.h"
#include "io/link/coprocessor/messages.h"
#include "io/link/coprocessor/queue.h"
#include "io/link/coprocessor/sense.h"
#include "io/link/coprocessor/trip.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { CP_STEPS_AHEAD = 2 /* of the motion half */ };
enum { CP_CHANNELS = 8, CP_REPORTS = 4, CP_GATE_EDGES = 128 };

struct cp_parameters {
  uint32_t step_ticks;    /* of all parts */
  uint32_t settle_ticks;  /* until an edge has come through the capture */
  uint32_t silence_ticks; /* guard.h */
  uint32_t behind_ticks;  /* lateness at which the outputs go safe */
  uint32_t report_steps;  /* in a batch, 1 to 4096 */
  uint32_t theta;         /* angle at the start */
  uint32_t channels;      /* in use */
  struct cp_plant_parameters plant;
  struct cp_track_parameters track;
  struct cp_angle_parameters angle;
  struct cp_trip_parameters trip;
  struct cp_sense_channel sense[CP_CHANNELS];
};

/* What the plant's half owns. The other reads `tripped`, `behind` and, upstream, the two rings. */
struct cp_plant_side {
  uint32_t tick; /* reached */
  uint32_t step_end;
  const struct cp_parameters* p;
  uint32_t edge_waits;
  struct cp_gate_edge edge;
  volatile uint32_t behind; /* too late to be believed */
  volatile uint32_t reports_in, reports_out, edges_in, edges_out;
  struct cp_trip trip;
  struct cp_plant plant;
  struct cp_sense sense[CP_CHANNELS];
  int32_t told[CP_CHANNELS]; /* by Linux, 0 at the start */
  struct cp_queue queue;
  struct cp_report report;
  struct cp_report reports[CP_REPORTS];
  struct cp_gate_edge edges[CP_GATE_EDGES];
};

/* What the motion half owns. The other reads `safe`, `shown` and, for its reports, counts. */
struct cp_motion_side {
  uint32_t tick; /* reached, ahead of time */
  struct cp_guard guard;
  struct cp_shown shown;
  struct cp_track track;
  struct cp_angle_outputs angle;
  uint32_t slow; /* lines, CP_KEY | ... */
  uint32_t refused_commands;
  struct cp_queue queue;
};

struct cp_core {
  const struct cp_parameters* p;
  struct cp_motion_side motion;
  struct cp_plant_side plant;
};

/* Outputs at their safe levels; the first step begins now. Parameters must outlive it. */
void cp_start(struct cp_core*, const struct cp_parameters*);

/* What is due by now: both halves. */
void cp_step(struct cp_core*);
void cp_plant_half(struct cp_core*);
void cp_motion_half(struct cp_core*);

/* 0: no room, and counted; the sender waits for the next report. */
uint32_t cp_accept(struct cp_core*, const struct cp_command*);
/* 0: none. */
uint32_t cp_take_report(struct cp_core*, struct cp_report*);
uint32_t cp_take_gate_edge(struct cp_core*, struct cp_gate_edge*);
/* The controller selected the absolute angle sensor at that tick (now, or just before). */
uint32_t cp_angle_selected(const struct cp_core*, uint32_t at);

#ifdef __cplusplus
}
#endif

#endif
