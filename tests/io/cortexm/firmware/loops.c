// Short loops that compute and store nothing: what a round leaves in registers the next one finds
// there, in other places.
#include <stdint.h>

volatile uint32_t sums, whole;
volatile float part;

/// Two that change places, the counter beside them.
static uint32_t fibonacci(uint32_t n) {
  uint32_t a = 0, b = 1;
  do {
    const uint32_t next = a + b;
    a = b;
    b = next;
    __asm volatile("" : "+r"(a), "+r"(b));
  } while (--n);
  return a;
}

/// Five that go round, and flags from one round into the next.
static uint32_t turn_round(uint32_t n, uint32_t seed) {
  uint32_t a = seed, b = seed ^ 0x5a5a5a5au, c = seed * 3u, d = ~seed, e = seed >> 3;
  do {
    const uint32_t first = a;
    a = b + (c < first);
    b = c;
    c = d ^ first;
    d = e;
    e = first;
    __asm volatile("" : "+r"(a), "+r"(b), "+r"(c), "+r"(d), "+r"(e));
  } while (--n);
  return a + b + c + d + e;
}

static uint32_t common_divisor(uint32_t a, uint32_t b) {
  while (a != b) {
    if (a > b)
      a -= b;
    else
      b -= a;
  }
  return a;
}

/// Floats that change places.
static float settle(uint32_t n, float x) {
  float y = 1.0f, z = 0.5f;
  do {
    const float next = 0.25f * (x + y) - 0.5f * z;
    x = y;
    y = z;
    z = next;
    __asm volatile("" : "+t"(x), "+t"(y), "+t"(z));
  } while (--n);
  return x + y + z;
}

static uint32_t sum_of(uint32_t word) {
  uint32_t crc = word;
  for (uint32_t bit = 0; bit < 32; ++bit) crc = (crc >> 1) ^ (0xedb88320u & -(crc & 1u));
  return crc;
}

int main(void) {
  for (uint32_t n = 1;; ++n) {
    const uint32_t rounds = 3u + (n & 63u);
    whole = fibonacci(rounds);
    whole = turn_round(rounds, n);
    whole = common_divisor(n % 97u + 1u, 60u);
    part = settle(rounds, (float)(n & 15u));
    sums = sum_of(n) ^ sums;
  }
}
