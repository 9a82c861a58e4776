#include "io/link/frames/frame.h"

#include "io/link/frames/bytes.h"
#include "io/link/frames/crc32.h"

static void walk_header(struct lf_walk* w, struct lf_frame* f) {
  lf_u8(w, &f->version);
  lf_u8(w, &f->kind);
  lf_u16(w, &f->session);
  lf_u32(w, &f->sequence);
  lf_u32(w, &f->clock);
}

uint32_t lf_encode(const struct lf_frame* f, uint8_t wire[LF_WIRE_MAX]) {
  /* Plain bytes lie one behind their place: the first stuffing byte goes before them, and each zero
   * becomes the next one. */
  struct lf_frame head = *f;
  struct lf_walk w = lf_writing(wire + 1, LF_WIRE_MAX - 2U);
  walk_header(&w, &head);
  for (uint32_t k = 0; k < f->length; ++k) wire[1U + LF_HEADER + k] = f->payload[k];
  w.at = LF_HEADER + f->length;
  uint32_t crc = lf_crc32(wire + 1, w.at);
  lf_u32(&w, &crc);
  const uint32_t end = 1U + w.at;
  uint32_t code = 0U;
  for (uint32_t k = 1U; k < end; ++k) {
    if (wire[k] != 0U) continue;
    wire[code] = (uint8_t)(k - code);
    code = k;
  }
  wire[code] = (uint8_t)(end - code);
  wire[end] = 0U;
  return end + 1U;
}

/* Plain bytes into their place one further down; their number, 0: wrongly stuffed. */
static uint32_t unstuff(uint8_t* bytes, uint32_t count) {
  uint32_t code = 0U;
  while (code < count) {
    const uint32_t next = code + bytes[code];
    if (next > count) return 0U;
    /* A code of 255 is no zero but a full block, which no frame is long enough for. */
    bytes[code] = 0U;
    code = next;
  }
  return count - 1U;
}

static uint32_t open_frame(struct lf_parser* p, struct lf_frame* out) {
  const uint32_t count = p->count;
  p->count = 0U;
  if (count > LF_WIRE_MAX - 1U || count < 1U + LF_HEADER + LF_CRC) {
    ++p->bad_length;
    return 0U;
  }
  const uint32_t plain = unstuff(p->bytes, count);
  if (plain == 0U) {
    ++p->bad_stuffing;
    return 0U;
  }
  const uint8_t* bytes = p->bytes + 1;
  struct lf_walk crc_at = lf_reading(bytes + plain - LF_CRC, LF_CRC);
  uint32_t crc = 0U;
  lf_u32(&crc_at, &crc);
  if (crc != lf_crc32(bytes, plain - LF_CRC)) {
    ++p->bad_crc;
    return 0U;
  }
  struct lf_walk w = lf_reading(bytes, plain);
  walk_header(&w, out);
  out->length = plain - LF_CRC - LF_HEADER;
  for (uint32_t k = 0; k < out->length; ++k) out->payload[k] = bytes[LF_HEADER + k];
  return 1U;
}

uint32_t lf_byte_in(struct lf_parser* p, uint8_t byte, struct lf_frame* out) {
  if (byte == 0U) return p->count == 0U ? 0U : open_frame(p, out);
  if (p->count < LF_WIRE_MAX) p->bytes[p->count++] = byte;
  return 0U;
}

void lf_cut(struct lf_parser* p) {
  if (p->count != 0U) ++p->bad_length;
  p->count = 0U;
}
