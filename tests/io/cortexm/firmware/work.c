/* What a field-oriented control interrupt computes, over and over: transforms, two controllers with
 * limits, a sine from a table, a sum over a ring. The sum of its results is left in `result`. */
#include <stdint.h>

static float table[256];
static float ring[16];
static int32_t history[64];
volatile uint32_t rounds;
volatile float result;

static float sine(uint32_t angle) {
  const uint32_t i = angle >> 24, f = angle >> 16 & 0xff;
  const float a = table[i], b = table[(i + 1) & 255];
  return a + (b - a) * (float)f * (1.0f / 256.0f);
}

static float limited(float x, float most) { return x > most ? most : x < -most ? -most : x; }

static void fill(void) {
  /* A parabola each half turn is sine enough here. */
  for (uint32_t i = 0; i < 256; ++i) {
    const float x = (float)(i & 127) * (1.0f / 128.0f);
    const float y = 4.0f * x * (1.0f - x);
    table[i] = i < 128 ? y : -y;
  }
}

/* A place to stop at between two rounds. */
__attribute__((noinline)) void round_over(void);
void round_over(void) { __asm volatile(""); }

int main(void) {
  fill();
  uint32_t angle = 0, seed = 1;
  float id_sum = 0.0f, iq_sum = 0.0f, total = 0.0f;
  for (uint32_t n = 0;; ++n) {
    seed = seed * 1664525u + 1013904223u;
    const float u = (float)(int32_t)(seed >> 20) * (1.0f / 4096.0f) - 0.5f;
    const float v = (float)(int32_t)(seed >> 8 & 0xfff) * (1.0f / 4096.0f) - 0.5f;
    angle += 0x00400000u + (seed >> 12);
    const float s = sine(angle), c = sine(angle + 0x40000000u);
    const float alpha = u, beta = (u + 2.0f * v) * 0.57735027f;
    const float d = alpha * c + beta * s, q = beta * c - alpha * s;
    id_sum = limited(id_sum - 0.01f * d, 0.5f);
    iq_sum = limited(iq_sum + 0.01f * (0.2f - q), 0.5f);
    const float vd = limited(id_sum - 0.3f * d, 0.9f),
                vq = limited(iq_sum + 0.3f * (0.2f - q), 0.9f);
    ring[n & 15] = vd * c - vq * s;
    float sum = 0.0f;
    for (uint32_t i = 0; i < 16; ++i) sum += ring[i];
    history[n & 63] = (int32_t)(sum * 1024.0f);
    int32_t peak = history[0];
    for (uint32_t i = 1; i < 64; i += 4)
      if (history[i] > peak) peak = history[i];
    total = total * 0.99f + sum + (float)peak * 0.0001f;
    result = total;
    rounds = n;
    round_over();
  }
}
