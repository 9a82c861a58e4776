#include "drive.h"

static volatile uint16_t count = 2002;
static volatile struct pid loop = {0.25f, -0.25f};

void other(void) {
  static volatile uint8_t gain = 44;
  count = count;
  loop.gain = loop.gain;
  loop.integral = loop.integral;
  gain = gain;
}
