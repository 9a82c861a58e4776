/* Commands on their way to one half: one writer, one reader, no lock. */
#ifndef STILLROTOR_COPROCESSOR_QUEUE_H
#define STILLROTOR_COPROCESSOR_QUEUE_H

#include <stdint.h>

#include "io/link/coprocessor/barrier.h"
#include "io/link/coprocessor/messages.h"

enum { CP_COMMANDS = 16 }; /* a power of two */

struct cp_queue {
  volatile uint32_t in, out; /* counted on and on */
  struct cp_command command[CP_COMMANDS];
};

static inline uint32_t cp_queue_has_room(const struct cp_queue* q) {
  return q->in - q->out < CP_COMMANDS;
}
static inline void cp_queue_put(struct cp_queue* q, const struct cp_command* c) {
  q->command[q->in % CP_COMMANDS] = *c;
  cp_barrier();
  q->in = q->in + 1U;
}
/* The oldest command if it is due at the boundary `now`; stays until cp_queue_drop(). */
static inline const struct cp_command* cp_queue_due(const struct cp_queue* q, uint32_t now) {
  if (q->in == q->out) return 0;
  cp_barrier();
  const struct cp_command* c = &q->command[q->out % CP_COMMANDS];
  const uint32_t at = c->kind == CP_PIECE ? c->u.piece.at : c->at;
  return (int32_t)(now - at) >= 0 ? c : 0;
}
static inline void cp_queue_drop(struct cp_queue* q) {
  cp_barrier();
  q->out = q->out + 1U;
}

#endif
