#include "io/link/frames/payload.h"

void lf_walk_hello(struct lf_walk* w, struct lf_hello* h) {
  lf_u8(w, &h->lowest_version);
  lf_u8(w, &h->highest_version);
  lf_u16(w, &h->role);
  lf_u32(w, &h->tick_Hz);
  lf_u32(w, &h->resolution_ps);
  lf_u32(w, &h->jitter_ps);
  lf_u32(w, &h->channels);
  lf_u32(w, &h->lines);
  lf_u32(w, &h->parameter_bytes);
}

void lf_walk_beat(struct lf_walk* w, struct lf_beat* b) {
  lf_u32(w, &b->sequence);
  lf_u32(w, &b->clock);
  lf_u32(w, &b->heard);
  lf_u32(w, &b->edges);
  lf_u32(w, &b->parameters);
  lf_u32(w, &b->missed);
}

static void walk_gain(struct lf_walk* w, struct cp_gain* g) {
  lf_i32(w, &g->factor);
  lf_u32(w, &g->shift);
}

void lf_walk_command(struct lf_walk* w, struct cp_command* c) {
  lf_u32(w, &c->kind);
  switch (c->kind) {
    case CP_PIECE:
      lf_u32(w, &c->u.piece.at);
      lf_u32(w, &c->u.piece.theta);
      lf_i64(w, &c->u.piece.rate);
      lf_i64(w, &c->u.piece.change);
      break;
    case CP_SUPPLY:
      lf_u32(w, &c->at);
      lf_i32(w, &c->u.source_V);
      break;
    case CP_HEAT:
      lf_u32(w, &c->at);
      walk_gain(w, &c->u.heat.resistance);
      lf_i32(w, &c->u.heat.flux_scale);
      break;
    case CP_SWITCH:
      lf_u32(w, &c->at);
      lf_u32(w, &c->u.levels);
      break;
    case CP_TELL:
      lf_u32(w, &c->at);
      lf_u32(w, &c->u.tell.channel);
      lf_i32(w, &c->u.tell.code);
      break;
    default:
      lf_u32(w, &c->at);
      break;
  }
}

void lf_walk_report(struct lf_walk* w, struct cp_report* r) {
  lf_u32(w, &r->at);
  lf_u32(w, &r->steps);
  lf_i32(w, &r->sum_i[0]);
  lf_i32(w, &r->sum_i[1]);
  lf_i32(w, &r->sum_cap);
  lf_i32(w, &r->i[0]);
  lf_i32(w, &r->i[1]);
  lf_i32(w, &r->bus);
  lf_u32(w, &r->theta);
  lf_u32(w, &r->theta_at);
  lf_u32(w, &r->flags);
  lf_u32(w, &r->safe);
  lf_u32(w, &r->tripped);
  lf_u32(w, &r->trip_due);
  lf_u32(w, &r->lost_edges);
  lf_u32(w, &r->late_edges);
  lf_u32(w, &r->unsent_edges);
  lf_u32(w, &r->unsent_reports);
  lf_u32(w, &r->refused_commands);
  lf_u32(w, &r->gaps);
  lf_u32(w, &r->worst_gap);
  lf_u32(w, &r->late_pieces);
  lf_u32(w, &r->too_fast_steps);
  lf_u32(w, &r->worst_lateness);
}

void lf_walk_part(struct lf_walk* w, struct lf_part* p) {
  lf_u32(w, &p->crc);
  lf_u16(w, &p->size);
  lf_u16(w, &p->offset);
}

static void walk_plant(struct lf_walk* w, struct cp_plant_parameters* p) {
  lf_u32(w, &p->step_ticks);
  lf_u32(w, &p->flux_shift);
  lf_i32(w, &p->per_refresh);
  lf_u32(w, &p->pole_pairs);
  lf_i32(w, &p->inverse_mean);
  lf_i32(w, &p->inverse_swing);
  walk_gain(w, &p->resistance);
  lf_i32(w, &p->flux_scale);
  lf_u32(w, &p->flux_scale_shift);
  lf_i32(w, &p->diode_V);
  walk_gain(w, &p->diode_resistance);
  walk_gain(w, &p->link_resistance);
  walk_gain(w, &p->link_charge);
  walk_gain(w, &p->source_conductance);
  lf_i32(w, &p->source_V);
  lf_i32(w, &p->short_share);
  walk_gain(w, &p->short_charge);
  for (uint32_t k = 0; k <= CP_SHAPE_POINTS; ++k) lf_i16(w, &p->flux_shape[k]);
}

static void walk_angle(struct lf_walk* w, struct cp_angle_parameters* a) {
  lf_u32(w, &a->step_ticks);
  lf_u32(w, &a->pole_pairs);
  lf_u32(w, &a->halls);
  for (uint32_t k = 0; k < 3U; ++k) lf_u32(w, &a->hall_rise[k]);
  lf_u32(w, &a->encoder_counts);
  lf_u32(w, &a->index_count);
  lf_u32(w, &a->index_counts);
  lf_u32(w, &a->reversed);
  lf_u32(w, &a->word_bits);
  lf_u32(w, &a->word_turns);
  lf_u32(w, &a->word_zero);
}

static void walk_trip(struct lf_walk* w, struct cp_trip_parameters* t) {
  lf_u32(w, &t->watches);
  lf_i32(w, &t->limit);
  lf_u32(w, &t->delay_ticks);
  lf_i32(w, &t->rise);
  lf_u32(w, &t->step_ticks);
  lf_u32(w, &t->sure_ticks);
}

void lf_walk_parameters(struct lf_walk* w, struct cp_parameters* p) {
  lf_u32(w, &p->step_ticks);
  lf_u32(w, &p->settle_ticks);
  lf_u32(w, &p->silence_ticks);
  lf_u32(w, &p->behind_ticks);
  lf_u32(w, &p->report_steps);
  lf_u32(w, &p->theta);
  lf_u32(w, &p->channels);
  walk_plant(w, &p->plant);
  lf_u32(w, &p->track.step_ticks);
  lf_u32(w, &p->track.join);
  lf_u32(w, &p->track.slew);
  lf_u32(w, &p->track.fastest);
  walk_angle(w, &p->angle);
  walk_trip(w, &p->trip);
  for (uint32_t k = 0; k < CP_CHANNELS; ++k) {
    lf_u32(w, &p->sense[k].what);
    walk_gain(w, &p->sense[k].gain);
    lf_i32(w, &p->sense[k].offset);
    lf_i32(w, &p->sense[k].most);
  }
}

static uint32_t shift_holds(struct cp_gain g) { return g.shift < 32U; }

uint32_t lf_parameters_hold(const struct cp_parameters* p) {
  const uint32_t n = p->step_ticks;
  if (n < 16U || n > CP_STEP_TICKS_MAX || p->channels > CP_CHANNELS) return 0U;
  if (p->plant.step_ticks != n || p->track.step_ticks != n || p->angle.step_ticks != n ||
      p->trip.step_ticks != n)
    return 0U;
  if (p->report_steps < 1U || p->report_steps > 4096U || p->silence_ticks > INT32_MAX) return 0U;
  if (p->plant.flux_shift < 1U || p->plant.flux_shift > 7U || p->plant.flux_scale_shift > 31U)
    return 0U;
  if (!shift_holds(p->plant.resistance) || !shift_holds(p->plant.diode_resistance) ||
      !shift_holds(p->plant.link_resistance) || !shift_holds(p->plant.link_charge) ||
      !shift_holds(p->plant.source_conductance) || !shift_holds(p->plant.short_charge))
    return 0U;
  if (p->track.fastest >= 1U << 24) return 0U;
  if (p->angle.encoder_counts > 65536U || p->angle.word_bits > 20U) return 0U;
  for (uint32_t k = 0; k < CP_CHANNELS; ++k)
    if (p->sense[k].what > CP_SENSE_TOLD || !shift_holds(p->sense[k].gain)) return 0U;
  return 1U;
}

void lf_walk_edges(struct lf_walk* w, struct lf_edges* e) {
  lf_u32(w, &e->at);
  lf_u32(w, &e->number);
  lf_u8(w, &e->gates_before);
}

void lf_walk_edge(struct lf_walk* w, struct lf_edge* e) {
  lf_u16(w, &e->after);
  lf_u8(w, &e->gates);
}

void lf_walk_refusal(struct lf_walk* w, struct lf_refusal* r) {
  lf_u8(w, &r->reason);
  lf_u8(w, &r->kind);
  lf_u32(w, &r->sequence);
  lf_u8(w, &r->lowest_version);
  lf_u8(w, &r->highest_version);
}
