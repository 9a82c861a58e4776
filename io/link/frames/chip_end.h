/* The chip's end of the link: frames in become commands and parameters of the core, its reports and
 * gate edges become frames out. One object a chip, on the core that runs the motion half.
 *
 * Sessions  Linux opens one with a hello; frames of any other are not obeyed. Within it a frame
 * whose number is not above the last is dropped: what was repeated or overtaken on the way has no
 * effect. Life      only commands are a sign of it for the core's guard. Heartbeats measure clocks:
 * a Linux whose cycle hangs may well go on sending them. Orders    dated further from now than the
 * silence that is permitted are refused, so an old order to arm that lay somewhere on the way arms
 * nothing. Starts    the core with the parameters that come; others later start it anew, outputs
 * safe. RT        no allocation or wait; a call takes at most LF_BYTES_A_CALL bytes in and hands on
 * what the port has room for. */
#ifndef STILLROTOR_LINK_CHIP_END_H
#define STILLROTOR_LINK_CHIP_END_H

#include "io/link/coprocessor/coprocessor.h"
#include "io/link/frames/frame.h"
#include "io/link/frames/payload.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { LF_BYTES_A_CALL = 64 };

struct lf_chip {
  struct lf_hello hello;
  uint16_t session;     /* of the chip's own frames: another after each reset */
  uint32_t flush_ticks; /* longest time for which a gate edge waits for others */
  struct cp_core core;
  struct cp_parameters parameters;
  uint32_t in_force; /* CRC of their block; 0: none, the core does not run */
  struct {
    uint32_t crc, have; /* bit k: part k */
    uint8_t bytes[LF_PARAMETER_BYTES];
  } block;
  struct lf_parser parser;
  struct lf_frame frame;  /* that came, then that goes */
  uint32_t linux_session; /* above 0xffff: none yet */
  uint32_t heard;         /* last sequence number of it */
  uint32_t missed, dropped, strangers;
  uint32_t hello_due, beat_due, refusal_due;
  struct lf_beat beat;
  struct lf_refusal refusal;
  uint32_t sequence;
  uint32_t edges; /* number of the next one */
  uint32_t gates; /* after the last one */
  struct {
    uint32_t count, at, last;
    struct lf_edges head;
    struct lf_edge edge[LF_EDGES_MAX];
  } batch;
  struct cp_gate_edge waiting; /* did not fit into the batch */
  uint32_t waits;
  uint8_t wire[LF_WIRE_MAX];
  uint32_t wire_at, wire_count;
};

/* Lines let go, nothing runs. role and versions of the hello are filled in. */
void lf_chip_start(struct lf_chip*, const struct lf_hello*, uint16_t session, uint32_t flush_ticks);
/* In turn with cp_step(&chip->core), which must not be called before in_force is set. */
void lf_chip_serve(struct lf_chip*);

#ifdef __cplusplus
}
#endif

#endif
