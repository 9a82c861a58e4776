// The drive on a bench's board (stillrotor_firmware.h): what timers, converter and pins are to it.
#include <stddef.h>

#include "board.h"
#include "foc.h"
#include "io/hostfw/stillrotor_firmware.h"
#include "settings.h"
#include "settings_table.h"

static const struct sr_board* board;
static enum foc_legs legs;

static bool high(enum sr_line line) { return board->level(board->self, line) == SR_HIGH; }
static float volts(enum sr_channel channel) { return (float)board->volts(board->self, channel); }

static void read_inputs(struct foc_inputs* in) {
  for (int k = 0; k < 3; ++k) in->current_V[k] = volts((enum sr_channel)(SR_CURRENT_U + k));
  in->bus_V = volts(SR_BUS_VOLTAGE);
  in->throttle_V = volts(SR_THROTTLE);
  in->key = high(SR_KEY);
  in->brake = high(SR_BRAKE);
  in->reverse = high(SR_REVERSE);
  in->speed_limit = high(SR_SPEED_LIMIT);
  in->driver_fault = high(SR_DRIVER_FAULT);
  in->hall = (uint8_t)((high(SR_HALL_U) ? 1u : 0u) | (high(SR_HALL_V) ? 2u : 0u) |
                       (high(SR_HALL_W) ? 4u : 0u));
  struct sr_encoder encoder;
  board->encoder(board->self, &encoder);
  in->count = settings.encoder_direction * (int32_t)encoder.count;
  in->edge_s = in->edges_apart_s = 0.0f;
  in->index_seen = encoder.index_seen;
  in->index_count = settings.encoder_direction * (int32_t)encoder.index_count;
}

static void reset(const struct sr_board* given) {
  board = given;
  const struct sr_pwm pwm = {
      .frequency_Hz = PWM_HZ,
      .dead_time_s = DEAD_TIME_S,
      .valley_samples = 1u << SR_CURRENT_U | 1u << SR_CURRENT_V | 1u << SR_CURRENT_W |
                        1u << SR_BUS_VOLTAGE | 1u << SR_THROTTLE,
      .compute_s = COMPUTE_S,
      .stops_on_driver_fault = 1,
  };
  board->start_pwm(board->self, &pwm);
  board->drive(board->self, SR_DRIVER_ENABLE, SR_HIGH, 0.0);
  legs = FOC_OFF;
  struct foc_inputs in;
  read_inputs(&in);
  foc_reset(&in);
}

static void valley(void) {
  struct foc_inputs in;
  struct foc_outputs out;
  read_inputs(&in);
  foc_period(&in, &out);
  for (int leg = 0; leg < 3; ++leg) board->duty(board->self, leg, (double)out.duty[leg]);
  if (out.legs != legs || out.legs == FOC_OFF) {
    static const enum sr_leg_mode mode[] = {SR_LEG_OFF, SR_LEG_LOW, SR_LEG_COMPLEMENTARY};
    legs = out.legs;
    for (int leg = 0; leg < 3; ++leg) board->mode(board->self, leg, mode[legs]);
  }
  if (out.say != NULL) board->text(board->self, out.say);
}

static const struct sr_firmware firmware = {
    .version = SR_FIRMWARE_VERSION,
    .name = "orchard cart, field-oriented",
    .reset = reset,
    .valley = valley,
    .settings = sr_settings,
    .setting_count = SETTING_COUNT,
};

const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
