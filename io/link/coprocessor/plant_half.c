#include "io/link/coprocessor/barrier.h"
#include "io/link/coprocessor/coprocessor.h"
#include "io/link/coprocessor/rotor_field.h"

static int32_t later(uint32_t a, uint32_t b) { return (int32_t)(a - b); }

static void obey(struct cp_plant_side* s, const struct cp_command* c) {
  switch (c->kind) {
    case CP_SUPPLY:
      cp_plant_supply(&s->plant, c->u.source_V);
      break;
    case CP_HEAT:
      cp_plant_heat(&s->plant, c->u.heat.resistance, c->u.heat.flux_scale);
      break;
    case CP_TELL:
      if (c->u.tell.channel < CP_CHANNELS) s->told[c->u.tell.channel] = c->u.tell.code;
      break;
    case CP_CLEAR_TRIP:
      cp_trip_start(&s->trip, &s->p->trip);
      cp_port_line(s->tick, CP_FAULT, 0U);
      if (cp_trip_jump(&s->trip, &s->plant, s->tick)) cp_port_line(s->trip.due, CP_FAULT, 1U);
      break;
    default:
      break;
  }
}

static void pass_edge_upstream(struct cp_plant_side* s) {
  const uint32_t in = s->edges_in;
  if (in - s->edges_out == CP_GATE_EDGES) {
    ++s->report.unsent_edges;
    return;
  }
  struct cp_gate_edge* to = &s->edges[in % CP_GATE_EDGES];
  to->at = s->edge.at;
  to->gates = s->edge.gates;
  cp_barrier();
  s->edges_in = in + 1U;
}

/* To tick `to`, no gate moving. */
static inline void run_to(struct cp_plant_side* s, uint32_t to) {
  const uint32_t ticks = to - s->tick;
  if (ticks == 0U) return;
  s->tick = to;
  cp_plant_advance(&s->plant, ticks);
  if (cp_trip_look(&s->trip, &s->plant, to, ticks)) cp_port_line(s->trip.due, CP_FAULT, 1U);
}

static void show_codes(const struct cp_plant_side* s, uint32_t safe) {
  const uint32_t channels = s->p->channels;
  for (uint32_t k = 0; k < channels; ++k) {
    const struct cp_sense* c = &s->sense[k];
    const int32_t code = safe                    ? c->p->offset
                         : s->plant.shorted_legs ? cp_sense_code_shorted(c, &s->plant)
                                                 : cp_sense_code(c);
    cp_port_code(k, (uint32_t)code);
  }
}

static void close_report(struct cp_plant_side* s, const struct cp_motion_side* m) {
  struct cp_report* r = &s->report;
  r->at = s->tick;
  r->i[0] = s->plant.i[0];
  r->i[1] = s->plant.i[1];
  r->bus = s->plant.bus;
  r->theta = m->shown.theta;
  r->theta_at = m->shown.reached;
  r->flags = s->plant.flags;
  r->safe = m->guard.safe;
  r->tripped = s->trip.tripped;
  r->trip_due = s->trip.due;
  r->lost_edges = cp_port_lost_edges();
  r->refused_commands = m->refused_commands;
  r->gaps = m->track.gaps;
  r->worst_gap = m->track.worst_gap;
  r->late_pieces = m->track.late_pieces;
  r->too_fast_steps = m->track.too_fast_steps;
  const uint32_t in = s->reports_in;
  if (in - s->reports_out == CP_REPORTS) {
    ++r->unsent_reports;
  } else {
    s->reports[in % CP_REPORTS] = *r;
    cp_barrier();
    s->reports_in = in + 1U;
    s->plant.flags = 0U;
  }
  r->steps = 0U;
  r->sum_i[0] = r->sum_i[1] = r->sum_cap = 0;
}

static uint32_t add_to_report(struct cp_report* r, const struct cp_plant* plant) {
  r->sum_i[0] += plant->i[0];
  r->sum_i[1] += plant->i[1];
  r->sum_cap += plant->cap >> 10;
  return ++r->steps;
}

/* The shaft's angle at the end of the next interval. The motion half is some steps ahead. */
static uint32_t angle_ahead(const struct cp_plant_side* s, const struct cp_shown* shown) {
  uint32_t theta, reached;
  int32_t moved;
  do {
    reached = shown->reached;
    theta = shown->theta;
    moved = shown->moved;
  } while (reached != shown->reached);
  uint32_t steps = CP_FIELD_AHEAD;
  for (; later(reached, s->tick) > 0 && steps != 0U; --steps) reached -= s->p->step_ticks;
  return theta + steps * (uint32_t)moved;
}

/* Of a capture gone wild no more than this in a step; the rest waits, and counts as late. */
enum { edges_a_step = 32 };

static void take_edges(struct cp_plant_side* s) {
  const uint32_t end = s->step_end;
  for (uint32_t n = edges_a_step; n != 0U; --n) {
    if (!s->edge_waits && !(s->edge_waits = cp_port_next_edge(&s->edge))) return;
    const uint32_t at = s->edge.at;
    if (later(at, end) >= 0) return;
    if (later(at, s->tick) < 0)
      ++s->report.late_edges;
    else
      run_to(s, at);
    cp_plant_gates(&s->plant, s->edge.gates);
    if (cp_trip_jump(&s->trip, &s->plant, s->tick)) cp_port_line(s->trip.due, CP_FAULT, 1U);
    pass_edge_upstream(s);
    s->edge_waits = 0U;
  }
}

static void end_step(struct cp_plant_side* s, const struct cp_motion_side* m) {
  const struct cp_parameters* p = s->p;
  take_edges(s);
  run_to(s, s->step_end);
  show_codes(s, m->guard.safe);
  if (cp_field_step(&s->plant)) cp_field_aim(&s->plant, angle_ahead(s, &m->shown));
  if (add_to_report(&s->report, &s->plant) == p->report_steps) close_report(s, m);
  for (const struct cp_command* c; (c = cp_queue_due(&s->queue, s->tick)) != 0;) {
    obey(s, c);
    cp_queue_drop(&s->queue);
  }
  s->step_end += p->step_ticks;
}

static void note_lateness(struct cp_plant_side* s, uint32_t late) {
  s->report.worst_lateness = late;
  if (late > s->p->behind_ticks) s->behind = 1U;
}

void cp_plant_half(struct cp_core* cp) {
  struct cp_plant_side* s = &cp->plant;
  const int32_t late = later(cp_port_ticks(), s->step_end + s->p->settle_ticks);
  if (late < 0) return;
  if ((uint32_t)late > s->report.worst_lateness) note_lateness(s, (uint32_t)late);
  end_step(s, &cp->motion);
}

uint32_t cp_take_report(struct cp_core* cp, struct cp_report* out) {
  struct cp_plant_side* s = &cp->plant;
  const uint32_t at = s->reports_out;
  if (s->reports_in == at) return 0U;
  cp_barrier();
  *out = s->reports[at % CP_REPORTS];
  cp_barrier();
  s->reports_out = at + 1U;
  return 1U;
}

uint32_t cp_take_gate_edge(struct cp_core* cp, struct cp_gate_edge* out) {
  struct cp_plant_side* s = &cp->plant;
  const uint32_t at = s->edges_out;
  if (s->edges_in == at) return 0U;
  cp_barrier();
  *out = s->edges[at % CP_GATE_EDGES];
  cp_barrier();
  s->edges_out = at + 1U;
  return 1U;
}
