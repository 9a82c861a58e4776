#include "io/link/coprocessor/coprocessor.h"

void cp_start(struct cp_core* cp, const struct cp_parameters* p) {
  const uint32_t now = cp_port_ticks();
  *cp = (struct cp_core){.p = p};
  struct cp_plant_side* s = &cp->plant;
  s->tick = now;
  s->step_end = now + p->step_ticks;
  s->p = p;
  cp_plant_start(&s->plant, &p->plant, p->theta, 0);
  cp_trip_start(&s->trip, &p->trip);
  for (uint32_t k = 0; k < p->channels; ++k)
    s->sense[k] = cp_sense_start(&p->sense[k], &s->plant, &s->told[k]);

  struct cp_motion_side* m = &cp->motion;
  m->tick = now + CP_STEPS_AHEAD * p->step_ticks; /* it stands until then */
  m->shown.theta = p->theta;
  m->shown.reached = m->tick;
  cp_guard_start(&m->guard, p->silence_ticks, now);
  cp_track_start(&m->track, &p->track, p->theta);
  cp_angle_start(&m->angle, &p->angle, p->theta);
  cp_port_release_lines();
}

void cp_step(struct cp_core* cp) {
  cp_plant_half(cp);
  cp_motion_half(cp);
}
