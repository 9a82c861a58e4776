// Short loops: what a round leaves in registers and flags the next one finds there, in other
// places.
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

/// Asks at its begin for the flags that the last round has left.
static uint32_t carry_over(uint32_t n, uint32_t a, uint32_t b) {
  __asm volatile(
      "1: adc %0, %0, %1\n"
      "ite cs\n"
      "eorcs %1, %1, %0\n"
      "addcc %1, %1, #77\n"
      "subs %2, %2, #1\n"
      "teq %2, #0\n"
      "bne 1b"
      : "+r"(a), "+r"(b), "+r"(n)
      :
      : "cc");
  return a ^ b;
}

/// The same of two registers that are compared, one of which is a number by then.
static uint32_t compare_over(uint32_t n, uint32_t a) {
  uint32_t limit = 900, count = 0;
  __asm volatile(
      "cmp %0, %1\n"
      "1: ite hi\n"
      "subhi %0, %0, %1\n"
      "addls %0, %0, %1, lsr #1\n"
      "add %3, %3, %1\n"
      "movw %1, #1234\n"
      "sub %2, %2, #1\n"
      "cmp %0, %1\n"
      "cbz %2, 2f\n"
      "b 1b\n"
      "2:"
      : "+r"(a), "+r"(limit), "+r"(n), "+r"(count)
      :
      : "cc");
  return a + count;
}

/// Two ways back, which leave carry from different instructions; the first is seldom gone, to begin
/// with, and later many times in a row.
static uint32_t two_ways_back(uint32_t n, uint32_t a, uint32_t b) {
  __asm volatile(
      "1: adc %0, %0, %1\n"
      "eor %1, %1, %0, ror #7\n"
      "subs %2, %2, #1\n"
      "beq 2f\n"
      "tst %2, #0x10\n"
      "bne 1b\n"
      "cmp %0, %1\n"
      "b 1b\n"
      "2:"
      : "+r"(a), "+r"(b), "+r"(n)
      :
      : "cc");
  return a ^ b;
}

/// Flags of floats.
static float wrap(uint32_t n, float x) {
  const float limit = 3.0f, more = 0.7f;
  __asm volatile(
      "vcmp.f32 %0, %2\n"
      "1: vmrs APSR_nzcv, fpscr\n"
      "it gt\n"
      "vsubgt.f32 %0, %0, %2\n"
      "vfma.f32 %0, %0, %3\n"
      "vcmp.f32 %0, %2\n"
      "subs %1, %1, #1\n"
      "bne 1b"
      : "+t"(x), "+r"(n)
      : "t"(limit), "t"(more)
      : "cc");
  return x;
}

/// With memory: reads, writes, both, and a division, which is no matter of the host's registers.
static uint32_t in_memory(uint32_t n) {
  static uint32_t words[80];
  static const uint32_t constants[8] = {3, 1, 4, 1, 5, 9, 2, 6};
  uint32_t sum = 0;
  for (uint32_t i = 0; i < n; ++i) words[i] = i * n;
  for (uint32_t i = 0; i < n; ++i) sum = (sum << 1 | sum >> 31) + words[i];
  for (uint32_t i = 0; i + 1 < n; ++i) words[i + 1] += words[i];
  for (uint32_t i = 0; i < n; ++i) sum += words[i] / (i + 1) + constants[i & 7];
  return sum;
}

int main(void) {
  for (uint32_t n = 1;; ++n) {
    const uint32_t rounds = 3u + (n & 63u);
    whole = fibonacci(rounds);
    whole = turn_round(rounds, n);
    whole = common_divisor(n % 97u + 1u, 60u);
    part = settle(rounds, (float)(n & 15u));
    whole = carry_over(rounds, n, ~n << 3);
    whole = compare_over(rounds, n * 40u);
    whole = two_ways_back(rounds, n, ~n << 5);
    part = wrap(rounds, (float)(n & 15u));
    whole = in_memory(rounds);
    sums = sum_of(n) ^ sums;
  }
}
