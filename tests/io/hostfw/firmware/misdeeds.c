// Firmware that behaves until its first timer interrupt, and then does what the throttle's wire
// asks for, in tenths of a volt.
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "io/hostfw/stillrotor_firmware.h"

static const struct sr_board* board;
static volatile int zero;
static int table[4];

static int32_t replaced = 1;

static void reset(const struct sr_board* given) {
  replaced = 2;
  board = given;
  board->timer(board->self, 0, 1e-3);
}

static int deeper(volatile int* above) {
  volatile int here[64];
  here[0] = *above + 1;
  return deeper(here) + here[0];
}

static void with_pwm(double duty) {
  const struct sr_pwm pwm = {.frequency_Hz = 20e3, .dead_time_s = 1e-6};
  board->start_pwm(board->self, &pwm);
  board->duty(board->self, 1, duty);
}

static void timer(int number) {
  (void)number;
  const int deed = (int)lround(10.0 * board->volts(board->self, SR_THROTTLE));
  switch (deed) {
    case 1:  // loops for ever
      for (;;) zero = 0;
    case 2:
      abort();
    case 3:  // writes far beyond its table
      for (long k = 0;; k += 512) table[k] = 1;
    case 4:
      with_pwm(sqrt(-1.0 + zero));
      break;
    case 5:  // both switches of a leg on
      board->drive(board->self, SR_GATE_UH, SR_HIGH, 0.0);
      board->drive(board->self, SR_GATE_UL, SR_HIGH, 2e-6);
      break;
    case 6:  // allocates without end, and touches it
      for (;;) {
        char* more = malloc(1 << 20);
        for (int k = 0; k < 1 << 20; k += 4096) more[k] = 1;
      }
    case 7:
      exit(3);
    case 8:
      zero = 7 / zero;
      break;
    case 9:
      zero = deeper(&zero);
      break;
    case 10:  // waits for what never comes
      for (;;) pause();
    case 11:  // prints without end
      for (;;) puts("and another thing");
    case 12:  // speaks to the bench without end
      for (;;) board->text(board->self, "and another thing\n");
    case 13:
      with_pwm(0.5);
      board->drive(board->self, SR_GATE_UH, SR_HIGH, 0.0);
      break;
    case 14:
      board->drive(board->self, SR_HALL_U, SR_HIGH, 0.0);
      break;
    case 15:  // scribbles over the bench's own pages as far as it finds them
      ((struct sr_board*)(void*)(size_t)board)->self = (void*)(size_t)4096;
      (void)board->now_ns(board->self);
      break;
    case 16:
      fputs("assertion failed: duty < 1\n", stderr);
      abort();
    default:
      break;
  }
}

static const int32_t constant = 3;
static const struct sr_setting settings[] = {
    {"read_only", NULL, SR_INT32, (void*)(size_t)&constant, 0, 9},
    {"replaced", NULL, SR_INT32, &replaced, 0, 9}};

static const struct sr_firmware firmware = {.version = SR_FIRMWARE_VERSION,
                                            .name = "misdeeds",
                                            .reset = reset,
                                            .timer = timer,
                                            .settings = settings,
                                            .setting_count = 2};

const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
