#include "io/link/coprocessor/guard.h"

void cp_guard_start(struct cp_guard* g, uint32_t silence_ticks, uint32_t now) {
  *g = (struct cp_guard){silence_ticks, now, CP_SAFE_START};
}

void cp_guard_heard(struct cp_guard* g, uint32_t now) { g->heard = now; }

uint32_t cp_guard_make_safe(struct cp_guard* g, uint32_t why) {
  if (g->safe) return 0U;
  g->safe = why;
  return 1U;
}

uint32_t cp_guard_look(struct cp_guard* g, uint32_t now) {
  return now - g->heard > g->silence_ticks ? cp_guard_make_safe(g, CP_SAFE_SILENCE) : 0U;
}

uint32_t cp_guard_arm(struct cp_guard* g, uint32_t now) {
  if (!g->safe) return 0U;
  g->safe = 0U;
  g->heard = now;
  return 1U;
}
