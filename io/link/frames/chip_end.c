#include "io/link/frames/chip_end.h"

#include "io/link/frames/crc32.h"

static int32_t later(uint32_t a, uint32_t b) { return (int32_t)(a - b); }

void lf_chip_start(struct lf_chip* c, const struct lf_hello* hello, uint16_t session,
                   uint32_t flush_ticks) {
  *c = (struct lf_chip){.hello = *hello, .session = session, .flush_ticks = flush_ticks};
  c->hello.lowest_version = c->hello.highest_version = LF_VERSION;
  c->hello.role = LF_CHIP;
  c->hello.parameter_bytes = LF_PARAMETER_BYTES;
  c->linux_session = ~0U;
  c->hello_due = 1U;
  cp_port_release_lines();
}

/* ---- in: each returns why it refuses the frame, 0: it does not ---- */

static uint8_t take_hello(struct lf_chip* c) {
  struct lf_walk w = lf_reading(c->frame.payload, c->frame.length);
  struct lf_hello h = {0};
  lf_walk_hello(&w, &h);
  if (!lf_whole(&w) || h.role != LF_LINUX) return LF_BAD_PAYLOAD;
  if (c->frame.session != c->linux_session) {
    c->linux_session = c->frame.session;
    c->heard = c->frame.sequence;
  }
  c->hello_due = 1U;
  return 0U;
}

static uint8_t take_beat(struct lf_chip* c, uint32_t now) {
  c->beat.sequence = c->frame.sequence;
  c->beat.clock = c->frame.clock;
  c->beat.heard = now;
  c->beat_due = 1U;
  return 0U;
}

static uint8_t use_parameters(struct lf_chip* c) {
  struct lf_walk w = lf_reading(c->block.bytes, LF_PARAMETER_BYTES);
  c->block.have = 0U;
  if (lf_crc32(c->block.bytes, LF_PARAMETER_BYTES) != c->block.crc) return LF_BAD_PARAMETERS;
  struct cp_parameters p = {0};
  lf_walk_parameters(&w, &p);
  if (!lf_parameters_hold(&p)) return LF_BAD_PARAMETERS;
  c->parameters = p;
  c->in_force = c->block.crc;
  c->batch.count = c->waits = c->gates = 0U;
  cp_start(&c->core, &c->parameters);
  return 0U;
}

static uint8_t take_part(struct lf_chip* c) {
  struct lf_walk w = lf_reading(c->frame.payload, c->frame.length);
  struct lf_part part = {0};
  lf_walk_part(&w, &part);
  const uint32_t count = w.size - w.at;
  const uint32_t rest = LF_PARAMETER_BYTES - (uint32_t)part.offset;
  if (w.over || part.crc == 0U || part.size != LF_PARAMETER_BYTES ||
      part.offset >= LF_PARAMETER_BYTES || part.offset % LF_PART != 0U ||
      count != (rest < LF_PART ? rest : LF_PART))
    return LF_BAD_PAYLOAD;
  if (part.crc == c->in_force) return 0U;
  if (part.crc != c->block.crc) {
    c->block.crc = part.crc;
    c->block.have = 0U;
  }
  for (uint32_t k = 0; k < count; ++k) c->block.bytes[part.offset + k] = c->frame.payload[w.at + k];
  c->block.have |= 1U << part.offset / LF_PART;
  enum { parts = (LF_PARAMETER_BYTES + LF_PART - 1) / LF_PART };
  return c->block.have == (1U << parts) - 1U ? use_parameters(c) : 0U;
}

/* Is there such a channel, and does the code leave room for its offset? */
static uint32_t can_be_told(const struct lf_chip* c, const struct cp_command* command) {
  const uint32_t k = command->u.tell.channel;
  const int32_t code = command->u.tell.code;
  return k < CP_CHANNELS && c->parameters.sense[k].what == CP_SENSE_TOLD && code > -65536 &&
         code < 65536;
}

static uint8_t take_command(struct lf_chip* c, uint32_t now) {
  struct lf_walk w = lf_reading(c->frame.payload, c->frame.length);
  struct cp_command command = {0};
  lf_walk_command(&w, &command);
  if (!lf_whole(&w) || command.kind > CP_TELL) return LF_BAD_PAYLOAD;
  if (command.kind == CP_TELL && !can_be_told(c, &command)) return LF_BAD_PAYLOAD;
  if (c->in_force == 0U) return LF_NOTHING_RUNS;
  const int32_t ahead = later(command.kind == CP_PIECE ? command.u.piece.at : command.at, now);
  const int32_t most = (int32_t)c->parameters.silence_ticks;
  const uint32_t dated = command.kind != CP_ALIVE && command.kind != CP_MAKE_SAFE;
  if (dated && (ahead > most || ahead < -most)) return LF_BAD_TIME;
  return cp_accept(&c->core, &command) ? 0U : LF_NO_ROOM;
}

static uint8_t take_payload(struct lf_chip* c, uint32_t now) {
  switch (c->frame.kind) {
    case LF_HELLO:
      return take_hello(c);
    case LF_HEARTBEAT:
      return take_beat(c, now);
    case LF_PARAMETERS:
      return take_part(c);
    case LF_COMMAND:
      return take_command(c, now);
    default:
      return LF_BAD_KIND;
  }
}

/* Nonzero: the frame is of Linux' session and newer than all before it, or opens a session. */
static uint32_t is_next(struct lf_chip* c) {
  const struct lf_frame* f = &c->frame;
  if (f->session != c->linux_session) {
    c->strangers += f->kind != LF_HELLO;
    return f->kind == LF_HELLO;
  }
  const int32_t steps = later(f->sequence, c->heard);
  if (steps <= 0) {
    ++c->dropped;
    return 0U;
  }
  c->missed += (uint32_t)steps - 1U;
  c->heard = f->sequence;
  return 1U;
}

static void take_frame(struct lf_chip* c) {
  uint8_t reason = LF_BAD_VERSION;
  if (c->frame.version == LF_VERSION) {
    const uint32_t now = cp_port_ticks();
    if (!is_next(c)) return;
    reason = take_payload(c, now);
  }
  if (reason == 0U) return;
  c->refusal =
      (struct lf_refusal){reason, c->frame.kind, c->frame.sequence, LF_VERSION, LF_VERSION};
  c->refusal_due = 1U;
}

/* ---- out ---- */

static void gather_edges(struct lf_chip* c) {
  while (c->batch.count < LF_EDGES_MAX) {
    if (!c->waits && !(c->waits = cp_take_gate_edge(&c->core, &c->waiting))) return;
    const uint32_t at = c->waiting.at;
    if (c->batch.count == 0U) {
      c->batch.at = c->batch.last = at;
      c->batch.head = (struct lf_edges){at, c->edges, (uint8_t)c->gates};
    }
    /* A number has 16 bits; what lies further on, or back, begins a batch of its own. */
    const uint32_t after = at - c->batch.last;
    if (after > 0xffffU) return;
    c->batch.edge[c->batch.count++] = (struct lf_edge){(uint16_t)after, (uint8_t)c->waiting.gates};
    c->batch.last = at;
    c->gates = c->waiting.gates;
    c->waits = 0U;
    ++c->edges;
  }
}

static struct lf_walk begin_frame(struct lf_chip* c, uint8_t kind) {
  c->frame.version = LF_VERSION;
  c->frame.kind = kind;
  c->frame.session = c->session;
  c->frame.sequence = c->sequence++;
  return lf_writing(c->frame.payload, LF_PAYLOAD_MAX);
}

static void end_frame(struct lf_chip* c, const struct lf_walk* w) {
  c->frame.length = w->at;
  c->frame.clock = cp_port_ticks();
  c->wire_at = 0U;
  c->wire_count = lf_encode(&c->frame, c->wire);
}

static uint32_t write_report(struct lf_chip* c) {
  struct cp_report report;
  if (!cp_take_report(&c->core, &report)) return 0U;
  struct lf_walk w = begin_frame(c, LF_REPORT);
  lf_walk_report(&w, &report);
  end_frame(c, &w);
  return 1U;
}

static uint32_t write_edges(struct lf_chip* c) {
  const uint32_t count = c->batch.count;
  if (count == 0U) return 0U;
  const uint32_t waited = cp_port_ticks() - c->batch.at;
  if (count < LF_EDGES_MAX && !c->waits && waited < c->flush_ticks) return 0U;
  struct lf_walk w = begin_frame(c, LF_EDGES);
  lf_walk_edges(&w, &c->batch.head);
  for (uint32_t k = 0; k < count; ++k) lf_walk_edge(&w, &c->batch.edge[k]);
  c->batch.count = 0U;
  end_frame(c, &w);
  return 1U;
}

/* The next frame that is due; 0: none. */
static uint32_t write_frame(struct lf_chip* c) {
  if (c->hello_due) {
    c->hello_due = 0U;
    struct lf_walk w = begin_frame(c, LF_HELLO);
    lf_walk_hello(&w, &c->hello);
    end_frame(c, &w);
    return 1U;
  }
  if (c->beat_due) {
    c->beat_due = 0U;
    struct lf_walk w = begin_frame(c, LF_HEARTBEAT);
    c->beat.edges = c->edges - c->batch.count; /* what the batch holds comes behind */
    c->beat.parameters = c->in_force;
    c->beat.missed = c->missed;
    lf_walk_beat(&w, &c->beat);
    end_frame(c, &w);
    return 1U;
  }
  if (c->refusal_due) {
    c->refusal_due = 0U;
    struct lf_walk w = begin_frame(c, LF_REFUSAL);
    lf_walk_refusal(&w, &c->refusal);
    end_frame(c, &w);
    return 1U;
  }
  if (c->in_force == 0U) return 0U;
  gather_edges(c);
  return write_edges(c) || write_report(c);
}

void lf_chip_serve(struct lf_chip* c) {
  uint8_t byte;
  for (uint32_t n = 0; n < LF_BYTES_A_CALL && cp_port_byte_in(&byte); ++n)
    if (lf_byte_in(&c->parser, byte, &c->frame)) take_frame(c);
  for (;;) {
    for (; c->wire_at < c->wire_count; ++c->wire_at)
      if (!cp_port_byte_out(c->wire[c->wire_at])) return;
    if (!write_frame(c)) return;
  }
}
