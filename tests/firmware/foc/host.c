// The drive on a bench's board (stillrotor_firmware.h): what timers, converter and pins are to it.
#include <stddef.h>

#include "board.h"
#include "foc.h"
#include "io/hostfw/stillrotor_firmware.h"
#include "settings.h"

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
  in->driver_fault = high(SR_DRIVER_FAULT);
  in->hall = (uint8_t)((high(SR_HALL_U) ? 1u : 0u) | (high(SR_HALL_V) ? 2u : 0u) |
                       (high(SR_HALL_W) ? 4u : 0u));
  struct sr_encoder encoder;
  board->encoder(board->self, &encoder);
  in->count = settings.encoder_direction * (int32_t)encoder.count;
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

static const struct sr_setting all_settings[] = {
    {"pole_pairs", NULL, SR_INT32, &settings.pole_pairs, 1, 32},
    {"phase_order", NULL, SR_INT32, &settings.phase_order, 0, 5},
    {"hall_order", NULL, SR_INT32, &settings.hall_order, 0, 5},
    {"hall_inverted", NULL, SR_INT32, &settings.hall_inverted, 0, 1},
    {"hall_spacing", "deg", SR_INT32, &settings.hall_spacing_deg, 60, 120},
    {"encoder_lines", NULL, SR_INT32, &settings.encoder_lines, 1, 10000},
    {"encoder_direction", NULL, SR_INT32, &settings.encoder_direction, -1, 1},
    {"index", "deg", SR_FLOAT, &settings.index_deg, -360, 360},
    {"angle_offset", "deg", SR_FLOAT, &settings.angle_offset_deg, -180, 180},
    {"current_gain", "V/A", SR_FLOAT, &settings.current_V_per_A, -1, 1},
    {"current_zero", "V", SR_FLOAT, &settings.current_zero_V, 0, 5},
    {"measures_zero", NULL, SR_INT32, &settings.measures_zero, 0, 1},
    {"learns", NULL, SR_INT32, &settings.learns, 0, 1},
};

static const struct sr_firmware firmware = {
    .version = SR_FIRMWARE_VERSION,
    .name = "orchard cart, field-oriented",
    .reset = reset,
    .valley = valley,
    .settings = all_settings,
    .setting_count = (int)(sizeof all_settings / sizeof *all_settings),
};

const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
