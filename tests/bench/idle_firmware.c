// Firmware that does next to nothing, each PWM period.
#include "io/hostfw/stillrotor_firmware.h"

static const struct sr_board* board;

static void reset(const struct sr_board* given) {
  board = given;
  const struct sr_pwm pwm = {.frequency_Hz = 20e3, .dead_time_s = 1e-6};
  board->start_pwm(board->self, &pwm);
  for (int leg = 0; leg < 3; ++leg) board->mode(board->self, leg, SR_LEG_COMPLEMENTARY);
}

static void valley(void) {
#ifdef ASKING
  const double share = 0.1 * board->volts(board->self, SR_THROTTLE);
#else
  const double share = 0.25;
#endif
  for (int leg = 0; leg < 3; ++leg) board->duty(board->self, leg, share);
}

static const struct sr_firmware firmware = {
    .version = SR_FIRMWARE_VERSION, .name = "idle", .reset = reset, .valley = valley};

const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
