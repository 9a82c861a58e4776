/* Runs both halves of the co-processor on a simulated core, on gate edges of 20 kHz PWM with dead
 * time and a stretch with all gates off, so that the cycles of each step and each call can be
 * counted from outside: every call stands between two marks. */
#include <stddef.h>
#include <stdint.h>

#include "io/link/coprocessor/coprocessor.h"
#include "parameters.inc"

enum { step = STEP_TICKS, steps = 1200 };

static uint32_t now;
static volatile uint32_t sink;
static struct cp_gate_edge edge_list[1024];
static uint32_t edge_count, edge_next;

uint32_t cp_port_ticks(void) { return now; }
uint32_t cp_port_lost_edges(void) { return 0; }
uint32_t cp_port_next_edge(struct cp_gate_edge* out) {
  if (edge_next == edge_count || (int32_t)(now - edge_list[edge_next].at) < 0) return 0;
  *out = edge_list[edge_next++];
  return 1;
}
void cp_port_line(uint32_t at, uint32_t line, uint32_t high) { sink = at + line + high; }
void cp_port_code(uint32_t channel, uint32_t code) { sink = channel + code; }
void cp_port_release_lines(void) {}
void cp_port_drive_lines(uint32_t levels) { sink = levels; }

/* What the compiler may ask for. */
void* __attribute__((used)) memcpy(void* to, const void* from, size_t n) {
  uint32_t* t = to; /* words only here */
  const uint32_t* f = from;
  for (; n >= 4U; n -= 4U) *t++ = *f++;
  return to;
}
void* __attribute__((used)) memset(void* to, int c, size_t n) {
  uint32_t* t = to;
  for (; n >= 4U; n -= 4U) *t++ = (uint32_t)c * 0x01010101U;
  return to;
}

void __attribute__((noipa)) mark_step(void) { __asm__ volatile(""); }
void __attribute__((noipa)) mark_plant(void) { __asm__ volatile(""); }
void __attribute__((noipa)) mark_motion(void) { __asm__ volatile(""); }
void __attribute__((noipa)) mark_idle(void) { __asm__ volatile(""); }

static void add_edge(uint32_t at, uint32_t gates) {
  edge_list[edge_count++] = (struct cp_gate_edge){at, gates};
}

/* Centre-aligned: legs turn high one after the other, then low, each with its dead time. */
static void make_edges(void) {
  const uint32_t period = PERIOD_TICKS, dead = DEAD_TICKS;
  uint32_t gates = CP_UL | CP_VL | CP_WL;
  add_edge(5, gates);
  for (uint32_t begin = 400; begin + period < 800U * step; begin += period) {
    const uint32_t quarter = period / 8U;
    for (uint32_t turn = 0; turn < 6U; ++turn) {
      const uint32_t leg = turn < 3U ? turn : 5U - turn;
      const uint32_t at = begin + turn * quarter + quarter;
      gates &= ~(3U << (2U * leg));
      add_edge(at, gates);
      gates |= (turn < 3U ? 1U : 2U) << (2U * leg);
      add_edge(at + dead, gates);
    }
  }
  add_edge(1000U * step, 0); /* and the rest of the time coasting */
}

static struct cp_core memory;
static struct cp_parameters p;
/* Through a pointer that the compiler cannot see behind, as a port with two of them would have. */
static struct cp_core* volatile where = &memory;

static uint32_t run(void) {
  struct cp_core* cp = where;
  memcpy(&p.plant, plant_words, sizeof p.plant);
  memcpy(&p.angle, angle_words, sizeof p.angle);
  memcpy(&p.track, track_words, sizeof p.track);
  memcpy(&p.trip, trip_words, sizeof p.trip);
  p.step_ticks = step;
  p.channels = 2;
  memcpy(&p.sense[0], shunt_words, sizeof p.sense[0]);
  memcpy(&p.sense[1], shunt_words, sizeof p.sense[1]);
  p.sense[1].what = CP_SENSE_SHUNT_V;
  p.silence_ticks = 1U << 30;
  p.behind_ticks = 1U << 20;
  p.report_steps = 100;
  struct cp_command c = {.kind = CP_PIECE};
  memcpy(&c.u.piece, piece_words, sizeof c.u.piece);
  p.theta = c.u.piece.theta;
  cp_start(cp, &p);
  cp_accept(cp, &c);
  c.kind = CP_ARM;
  c.at = 0;
  cp_accept(cp, &c);
  make_edges();
  for (uint32_t n = 0; n < steps; ++n) {
    struct cp_report report;
    now += step;
    mark_step();
    while (cp->plant.tick != now) {
      mark_plant();
      cp_plant_half(cp);
      mark_idle();
    }
    mark_motion();
    cp_motion_half(cp);
    mark_idle();
    while (cp_take_report(cp, &report)) sink = report.at;
    struct cp_gate_edge edge;
    while (cp_take_gate_edge(cp, &edge)) sink = edge.at;
  }
  return cp->plant.plant.flags;
}

void __attribute__((naked)) _start(void) { __asm__ volatile("bl go"); }
/* Ends as a program of the emulator's operating system does. */
void __attribute__((used)) go(void) {
  const uint32_t flags = run();
  register uint32_t number __asm__("r7") = 1;
  register uint32_t status __asm__("r0") = flags;
  __asm__ volatile("svc 0" : : "r"(number), "r"(status));
  for (;;) {
  }
}
