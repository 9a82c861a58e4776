/* Little-endian numbers in a block of bytes, written and read by the same walk: what is said once
 * about a layout holds for both directions.
 * RT  O(1), no allocation. Never leaves the block: `over` says that it was too short. */
#ifndef STILLROTOR_LINK_BYTES_H
#define STILLROTOR_LINK_BYTES_H

#include <stdint.h>

struct lf_walk {
  uint8_t* bytes;
  uint32_t size, at;
  uint32_t reading; /* nonzero: bytes to numbers */
  uint32_t over;
};

static inline struct lf_walk lf_writing(uint8_t* bytes, uint32_t size) {
  const struct lf_walk w = {bytes, size, 0U, 0U, 0U};
  return w;
}
/* Bytes are not touched. */
static inline struct lf_walk lf_reading(const uint8_t* bytes, uint32_t size) {
  const struct lf_walk w = {(uint8_t*)(uintptr_t)bytes, size, 0U, 1U, 0U};
  return w;
}
/* All was read, and nothing is left. */
static inline uint32_t lf_whole(const struct lf_walk* w) { return !w->over && w->at == w->size; }

static inline uint32_t lf_number(struct lf_walk* w, uint32_t value, uint32_t bytes) {
  if (w->over || w->size - w->at < bytes) {
    w->over = 1U;
    return 0U;
  }
  uint32_t read = 0U;
  for (uint32_t k = 0; k < bytes; ++k, ++w->at) {
    if (w->reading)
      read |= (uint32_t)w->bytes[w->at] << (8U * k);
    else
      w->bytes[w->at] = (uint8_t)(value >> (8U * k));
  }
  return w->reading ? read : value;
}
static inline void lf_u8(struct lf_walk* w, uint8_t* x) { *x = (uint8_t)lf_number(w, *x, 1U); }
static inline void lf_u16(struct lf_walk* w, uint16_t* x) { *x = (uint16_t)lf_number(w, *x, 2U); }
static inline void lf_i16(struct lf_walk* w, int16_t* x) {
  *x = (int16_t)(uint16_t)lf_number(w, (uint16_t)*x, 2U);
}
static inline void lf_u32(struct lf_walk* w, uint32_t* x) { *x = lf_number(w, *x, 4U); }
static inline void lf_i32(struct lf_walk* w, int32_t* x) {
  *x = (int32_t)lf_number(w, (uint32_t)*x, 4U);
}
static inline void lf_i64(struct lf_walk* w, int64_t* x) {
  const uint64_t bits = (uint64_t)*x;
  const uint32_t low = lf_number(w, (uint32_t)bits, 4U);
  const uint32_t high = lf_number(w, (uint32_t)(bits >> 32), 4U);
  *x = (int64_t)((uint64_t)high << 32 | low);
}

#endif
