/* What stands in the frames, kind by kind: one walk a payload, for writing and for reading
 * (bytes.h). Layouts are those of docs/link-format.md; what the numbers mean stands beside the
 * co-processor's structs (messages.h and the headers it names).
 * RT  no allocation. */
#ifndef STILLROTOR_LINK_PAYLOAD_H
#define STILLROTOR_LINK_PAYLOAD_H

#include "io/link/coprocessor/coprocessor.h"
#include "io/link/frames/bytes.h"
#include "io/link/frames/frame.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Who speaks, and what it can do. The chip answers Linux' hello with its own. */
struct lf_hello {
  uint8_t lowest_version, highest_version; /* that the sender speaks */
  uint16_t role;                           /* LF_LINUX, LF_CHIP; below: 0 from Linux */
  uint32_t tick_Hz;                        /* of the counter that stamps */
  uint32_t resolution_ps, jitter_ps;       /* of a gate edge's stamp; jitter: rms, as declared */
  uint32_t channels;                       /* converter's channels that are fitted */
  uint32_t lines;                          /* CP_HALL_U | ... that are fitted */
  uint32_t parameter_bytes;                /* of the block that it expects */
};
enum { LF_LINUX = 1, LF_CHIP = 2 };
void lf_walk_hello(struct lf_walk*, struct lf_hello*);

/* The chip's answer to a heartbeat, whose payload is empty. */
struct lf_beat {
  uint32_t sequence, clock; /* of the heartbeat that it answers */
  uint32_t heard;           /* tick at which that came in; the frame's own clock: when this left */
  uint32_t edges;           /* number of the gate edge that comes next */
  uint32_t parameters;      /* CRC-32 of the block in force; 0: none, nothing runs */
  uint32_t missed;          /* frames of Linux that the chip knows it has not got */
};
void lf_walk_beat(struct lf_walk*, struct lf_beat*);

void lf_walk_command(struct lf_walk*, struct cp_command*);
void lf_walk_report(struct lf_walk*, struct cp_report*);

/* Parameters are one block, sent in parts of LF_PART bytes, the last one shorter. */
enum { LF_PART = 224, LF_PARAMETER_BYTES = 886 };
struct lf_part {
  uint32_t crc; /* of the whole block: parts of one block carry the same */
  uint16_t size, offset;
};
void lf_walk_part(struct lf_walk*, struct lf_part*); /* its bytes follow */
void lf_walk_parameters(struct lf_walk*, struct cp_parameters*);
/* Nonzero: no index or shift leaves its place. More the chip does not ask: Linux checks ranges. */
uint32_t lf_parameters_hold(const struct cp_parameters*);

/* Gate edges: the head, then LF_EDGE_BYTES for each. */
struct lf_edges {
  uint32_t at;          /* tick of the first */
  uint32_t number;      /* of the first, counted since the start of the sender's session */
  uint8_t gates_before; /* all six before it: levels are right again after a loss */
};
struct lf_edge {
  uint16_t after; /* ticks since the one before; the first: 0 */
  uint8_t gates;  /* all six after it */
};
enum { LF_EDGES_HEAD = 9, LF_EDGE_BYTES = 3, LF_EDGES_MAX = 75 };
void lf_walk_edges(struct lf_walk*, struct lf_edges*);
void lf_walk_edge(struct lf_walk*, struct lf_edge*);

enum lf_reason {
  LF_BAD_VERSION = 1,
  LF_BAD_KIND,
  LF_BAD_PAYLOAD,
  LF_NO_ROOM,  /* for a command: sent again after the next report */
  LF_BAD_TIME, /* further from now than the silence that is permitted, either way */
  LF_BAD_PARAMETERS,
  LF_NOTHING_RUNS /* no parameters yet */
};
struct lf_refusal {
  uint8_t reason;
  uint8_t kind;      /* of the frame that is refused */
  uint32_t sequence; /* of it */
  uint8_t lowest_version, highest_version;
};
void lf_walk_refusal(struct lf_walk*, struct lf_refusal*);

#ifdef __cplusplus
}
#endif

#endif
