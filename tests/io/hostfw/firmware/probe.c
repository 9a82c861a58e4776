// Firmware that uses all of its board, for tests that look at what comes out. It tells what it sees
// in lines of text.
#include <stddef.h>
#include <stdio.h>

#include "io/hostfw/stillrotor_firmware.h"

static const struct sr_board* board;
static int resets, valleys, crests, ticks;

static void say(const char* what, double value) {
  char line[80];
  snprintf(line, sizeof line, "%s %.9g\n", what, value);
  board->text(board->self, line);
}

static void reset(const struct sr_board* given) {
  board = given;
  ++resets;
  const struct sr_pwm pwm = {.frequency_Hz = 10e3,
                             .dead_time_s = 1e-6,
                             .valley_samples = 1u << SR_CURRENT_U,
                             .crest_samples = 1u << SR_BUS_VOLTAGE,
                             .compute_s = 60e-6,
                             .stops_on_driver_fault = 1};
  board->start_pwm(board->self, &pwm);
  for (int leg = 0; leg < 3; ++leg) {
    board->duty(board->self, leg, 0.25 * (leg + 1));
    board->mode(board->self, leg, SR_LEG_COMPLEMENTARY);
  }
  board->timer(board->self, 3, 250e-6);
  board->watch(board->self, SR_KEY, 1);
  board->drive(board->self, SR_DRIVER_ENABLE, SR_HIGH, 0.0);
  board->drive(board->self, SR_BRAKE_CHOPPER, SR_HIGH, 123e-6);
  board->drive(board->self, SR_BRAKE_CHOPPER, SR_LOW, 223e-6);
  say("resets", resets);
}

static void valley(void) {
  ++valleys;
  if (valleys == 1) {
    say("current", board->volts(board->self, SR_CURRENT_U));
    say("throttle", board->volts(board->self, SR_THROTTLE));  // nobody sampled it
  }
  if (valleys == 5) board->duty(board->self, 0, 0.5);  // at 0.5 ms; acts from 0.6 ms on
}

static void crest(void) {
  if (++crests == 1) say("crest", (double)board->now_ns(board->self));
}

static void timer(int number) {
  if (++ticks == 2) say("timer", 1e9 * number + (double)board->now_ns(board->self));
  if (ticks == 4) board->timer(board->self, 3, 0.0);
  if (ticks > 4) say("late timer", ticks);
}

static void edge(enum sr_line line, enum sr_level level, int64_t at_ns) {
  struct sr_encoder encoder;
  board->encoder(board->self, &encoder);
  say("edge", (double)line + (level == SR_HIGH ? 0.5 : 0.0));
  say("at", (double)at_ns);
  say("count", (double)encoder.count);
  say("index", (double)encoder.index_seen);
}

static const struct sr_firmware firmware = {
    SR_FIRMWARE_VERSION, "probe", reset, valley, crest, timer, edge, NULL, 0};

const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
