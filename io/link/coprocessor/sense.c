#include "io/link/coprocessor/sense.h"

static const int32_t never;

struct cp_sense cp_sense_start(const struct cp_sense_channel* p, const struct cp_plant* s,
                               const int32_t* told) {
  if (p->what == CP_SENSE_TOLD) return (struct cp_sense){told, &never, p};
  if (p->what <= CP_SENSE_PHASE_W) return (struct cp_sense){&s->i[p->what], &never, p};
  if (p->what <= CP_SENSE_SHUNT_W) {
    const uint32_t leg = p->what - CP_SENSE_SHUNT_U;
    return (struct cp_sense){&s->i[leg], &s->high[leg], p};
  }
  return (struct cp_sense){p->what == CP_SENSE_LINK ? &s->link_i : &s->bus, &never, p};
}

int32_t cp_sense_code_shorted(const struct cp_sense* s, const struct cp_plant* plant) {
  const struct cp_sense_channel* p = s->p;
  const uint32_t leg = p->what - CP_SENSE_SHUNT_U;
  /* Through a shunt it runs as current out of the machine would. */
  const int shunt = leg < 3U && (plant->shorted_legs & (1U << leg));
  if (!shunt && p->what != CP_SENSE_LINK) return cp_sense_code(s);
  const int up = shunt ? p->gain.factor < 0 : p->gain.factor > 0;
  return up ? p->most : 0;
}
