/* Frames between Linux and the timing co-processor, for both sides. docs/link-format.md is the
 * description for those who write another side; this is the code of it.
 *
 * On the wire  COBS(header, payload, CRC-32), then a byte 0: zero ends a frame and stands nowhere
 *              else, so a receiver that comes in anywhere is in step after the next zero.
 * Size         a payload is at most 236 bytes, so that stuffing costs one byte, and a frame fits in
 *              254. Numbers are little-endian.
 * Header       the same in all versions, and the CRC at the end, too.
 * Source       COBS: Cheshire, Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
 *              Networking 7 (1999), from memory.
 * RT           no allocation; a byte in is O(1) but for a frame's last, which is O(its length). */
#ifndef STILLROTOR_LINK_FRAME_H
#define STILLROTOR_LINK_FRAME_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { LF_VERSION = 1, LF_HEADER = 12, LF_CRC = 4, LF_PAYLOAD_MAX = 236, LF_WIRE_MAX = 254 };

enum lf_kind {
  LF_HELLO = 1,
  LF_PARAMETERS,
  LF_COMMAND,
  LF_HEARTBEAT,
  LF_REPORT,
  LF_EDGES,
  LF_REFUSAL
};

struct lf_frame {
  uint8_t version, kind;
  uint16_t session;  /* of the sender: a new one, a new count of sequence */
  uint32_t sequence; /* one up with each frame of the sender */
  uint32_t clock;    /* the sender's at sending: ticks, or Linux' nanoseconds */
  uint32_t length;   /* of the payload; not sent */
  uint8_t payload[LF_PAYLOAD_MAX];
};

/* Bytes on the wire, its closing zero included. length must not be above LF_PAYLOAD_MAX. */
uint32_t lf_encode(const struct lf_frame*, uint8_t wire[LF_WIRE_MAX]);

/* What has come of the frame under way, and what came to nothing. Starts as all zeros. */
struct lf_parser {
  uint8_t bytes[LF_WIRE_MAX];
  uint32_t count;      /* > LF_WIRE_MAX: too long, waits for its end */
  uint32_t bad_length; /* too long, or too short for header and CRC */
  uint32_t bad_stuffing;
  uint32_t bad_crc;
};

/* Nonzero: `out` holds a frame whose CRC is right; of any version and kind. Zeros one after the
 * other are no fault. */
uint32_t lf_byte_in(struct lf_parser*, uint8_t byte, struct lf_frame* out);
/* What is under way is given up and counted: a datagram or a connection has ended within a frame.
 */
void lf_cut(struct lf_parser*);

#ifdef __cplusplus
}
#endif

#endif
