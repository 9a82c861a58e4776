#include "io/link/coprocessor/coprocessor.h"

static int32_t later(uint32_t a, uint32_t b) { return (int32_t)(a - b); }

enum { slow_lines = CP_KEY | CP_BRAKE | CP_REVERSE };

static void switch_lines(struct cp_motion_side* m, uint32_t levels) {
  const uint32_t changed = (m->slow ^ levels) & slow_lines;
  m->slow = levels & slow_lines;
  for (uint32_t line = CP_KEY; line <= CP_REVERSE; line <<= 1)
    if (changed & line) cp_port_line(m->tick, line, (levels & line) != 0U);
}

static void obey(struct cp_core* cp, const struct cp_command* c) {
  struct cp_motion_side* m = &cp->motion;
  switch (c->kind) {
    case CP_PIECE:
      cp_track_join(&m->track, &c->u.piece, m->tick);
      break;
    case CP_ARM:
      cp->plant.behind = 0U;
      if (cp_guard_arm(&m->guard, cp_port_ticks()))
        cp_port_drive_lines(m->angle.levels | m->slow | (cp->plant.trip.tripped ? CP_FAULT : 0U));
      break;
    case CP_SWITCH:
      switch_lines(m, c->u.levels);
      break;
    default:
      break;
  }
}

static void step(struct cp_core* cp) {
  struct cp_motion_side* m = &cp->motion;
  struct cp_line_edge edges[CP_ANGLE_EDGES];
  for (const struct cp_command* c; (c = cp_queue_due(&m->queue, m->tick)) != 0;) {
    obey(cp, c);
    cp_queue_drop(&m->queue);
  }
  cp_track_step(&m->track);
  const uint32_t count = cp_angle_step(&m->angle, &m->track, m->tick, edges);
  for (uint32_t n = 0; n < count; ++n) cp_port_line(edges[n].at, edges[n].line, edges[n].high);
  m->tick += cp->p->step_ticks;
  m->shown.theta = m->track.theta;
  m->shown.moved = m->track.moved;
  m->shown.reached = m->tick;
}

void cp_motion_half(struct cp_core* cp) {
  struct cp_motion_side* m = &cp->motion;
  const uint32_t now = cp_port_ticks();
  const uint32_t turned_safe = cp->plant.behind ? cp_guard_make_safe(&m->guard, CP_SAFE_BEHIND)
                                                : cp_guard_look(&m->guard, now);
  if (turned_safe) cp_port_release_lines();
  const int32_t ahead = CP_STEPS_AHEAD * (int32_t)cp->p->step_ticks;
  if (later(m->tick, now) < ahead) step(cp);
}

uint32_t cp_accept(struct cp_core* cp, const struct cp_command* c) {
  struct cp_motion_side* m = &cp->motion;
  cp_guard_heard(&m->guard, cp_port_ticks());
  if (c->kind == CP_ALIVE) return 1U;
  if (c->kind == CP_MAKE_SAFE) {
    if (cp_guard_make_safe(&m->guard, CP_SAFE_TOLD)) cp_port_release_lines();
    return 1U;
  }
  const uint32_t to_motion = c->kind == CP_PIECE || c->kind == CP_ARM || c->kind == CP_SWITCH;
  const uint32_t to_plant = !to_motion;
  if ((to_motion && !cp_queue_has_room(&m->queue)) ||
      (to_plant && !cp_queue_has_room(&cp->plant.queue))) {
    ++m->refused_commands;
    return 0U;
  }
  if (to_motion) cp_queue_put(&m->queue, c);
  if (to_plant) cp_queue_put(&cp->plant.queue, c);
  return 1U;
}

uint32_t cp_angle_selected(const struct cp_core* cp, uint32_t at) {
  return cp_angle_word(&cp->p->angle, &cp->motion.track, cp->motion.tick, at);
}
