// The drive's life: offsets, key, throttle at rest, bootstrap, alignment where nothing tells the
// angle, running, stopped. What it does and what not is in README.md.
#include "foc.h"

#include <stddef.h>

#include "angle.h"
#include "board.h"
#include "current.h"
#include "learn.h"
#include "settings.h"
#include "trig.h"

#define PERIODS(seconds) ((int32_t)((seconds)*PWM_HZ))
// Meanwhile the angle has time to catch up with a machine that turns.
#define SETTLE_PERIODS PERIODS(0.002f)
#define OFFSET_READINGS PERIODS(0.016f)
#define USABLE 0.565f  // of the bus: a little less than 1 / sqrt 3
#define RESERVE 0.97f  // of that, where the field is weakened: the rest is for control
#define STANDSTILL_RAD_S 6.3f
#define BRAKE_FADE_RAD_S 30.0f
#define TURNING_RAD_S 30.0f
#define ALIGN_A 30.0f
#define LIMIT_FADE 0.1f  // of the limited speed

enum state { OFFSETS, WAIT_KEY, WAIT_REST, BOOTSTRAP, WAIT_THROTTLE, ALIGN, LEARN, RUN, STOPPED };

static enum state state;
static int32_t periods;  // in this state
static float sum_V[3], offset_V[3];
static float torque_A, weakening_A;
static float speed_rad_s, speed_A;  // of speed control: the wanted one, its integrator
static int terminal_of[3];          // by phase
static int32_t wire_faults;
static float direction;
static const char* said;
static struct axes given_V;  // by the last current control
static struct learning learning;

static void enter(enum state next) {
  state = next;
  periods = 0;
  torque_A = weakening_A = 0.0f;
  speed_rad_s = angle_rad_s();
  speed_A = 0.0f;
  current_reset();
}

static void stop(const char* why) {
  if (state == STOPPED) return;
  enter(STOPPED);
  said = why;
}

void foc_reset(const struct foc_inputs* in) {
  enter(OFFSETS);
  for (int k = 0; k < 3; ++k) {
    sum_V[k] = 0.0f;
    offset_V[k] = settings.current_zero_V;
    terminal_of[k] = order_of(settings.phase_order, k);
  }
  wire_faults = 0;
  direction = 1.0f;
  said = NULL;
  angle_reset(in);
}

static float throttle(const struct foc_inputs* in) {
  return clamped((in->throttle_V - THROTTLE_ZERO_V) / (THROTTLE_FULL_V - THROTTLE_ZERO_V), 0.0f,
                 1.0f);
}

static bool at_rest(const struct foc_inputs* in) {
  return in->throttle_V > THROTTLE_WIRE_LOW_V && in->throttle_V < THROTTLE_REST_V;
}

static void read_offsets(const struct foc_inputs* in) {
  if (!settings.measures_zero) return enter(WAIT_KEY);
  if (periods >= SETTLE_PERIODS)
    for (int k = 0; k < 3; ++k) sum_V[k] += in->current_V[k];
  if (periods < SETTLE_PERIODS + OFFSET_READINGS - 1) return;
  for (int k = 0; k < 3; ++k) {
    offset_V[k] = sum_V[k] / (float)OFFSET_READINGS;
    if (magnitude(offset_V[k] - OFFSET_V) > OFFSET_MOST_V) return stop("current offset\n");
  }
  enter(WAIT_KEY);
}

/// What ends every drive, whatever it does at the moment.
static bool sound(const struct foc_inputs* in, bool angle_sound, const float current_A[3],
                  float bus_V) {
  const bool broken = in->throttle_V < THROTTLE_WIRE_LOW_V || in->throttle_V > THROTTLE_WIRE_HIGH_V;
  wire_faults = broken ? wire_faults + 1 : 0;
  if (wire_faults > PERIODS(0.001f)) return stop("throttle wire\n"), false;
  if (in->driver_fault) return stop("gate driver\n"), false;
  if (!angle_sound) return stop("rotor position\n"), false;
  if (bus_V < BUS_LOWEST_V) return stop("bus voltage low\n"), false;
  if (bus_V > BUS_TRIP_V) return stop("bus voltage high\n"), false;
  for (int k = 0; k < 3; ++k)
    if (magnitude(current_A[k]) > CURRENT_TRIP_A) return stop("over-current\n"), false;
  return true;
}

/// The current that a brake may ask for, by what the bus still takes.
static float regen_A(float bus_V) {
  return REGEN_LIMIT_A * clamped((BUS_MOST_V - bus_V) / (BUS_MOST_V - BUS_FADE_V), 0.0f, 1.0f);
}

/// Throttle as a speed: the error and its sum.
static float goal_for_speed_A(float wanted, float omega, float bus_V) {
  const float ramp = SPEED_RAMP_RAD_S2 * PERIOD_S;
  speed_rad_s = clamped(wanted, speed_rad_s - ramp, speed_rad_s + ramp);
  const float error = speed_rad_s - omega;
  const float most = direction > 0.0f ? CURRENT_LIMIT_A : regen_A(bus_V);
  const float least = direction > 0.0f ? -regen_A(bus_V) : -CURRENT_LIMIT_A;
  speed_A = clamped(speed_A + SPEED_A_PER_RAD * PERIOD_S * error, least, most);
  return clamped(SPEED_A_S_PER_RAD * error + speed_A, least, most);
}

static float electrical(float rpm) { return rpm * (TWO_PI / 60.0f) * (float)settings.pole_pairs; }

/// What the limited speed leaves to the drive: everything up to nine tenths of it, nothing above.
static float drive_limit_A(const struct foc_inputs* in, float omega) {
  const float limit = electrical(settings.limited_rpm);
  if (!in->speed_limit || limit <= 0.0f) return CURRENT_LIMIT_A;
  return CURRENT_LIMIT_A * clamped((limit - magnitude(omega)) / (LIMIT_FADE * limit), 0.0f, 1.0f);
}

static float goal_A(const struct foc_inputs* in, float omega, float bus_V) {
  if (!in->brake && settings.full_speed_rpm > 0.0f) {
    float full_rpm = settings.full_speed_rpm;
    if (in->speed_limit && settings.limited_rpm > 0.0f && settings.limited_rpm < full_rpm)
      full_rpm = settings.limited_rpm;
    return goal_for_speed_A(direction * throttle(in) * electrical(full_rpm), omega, bus_V);
  }
  if (!in->brake) return direction * throttle(in) * drive_limit_A(in, omega);
  if (torque_A * omega > 0.0f) torque_A = 0.0f;  // no drive from the first period on
  speed_rad_s = omega;
  speed_A = 0.0f;
  return -regen_A(bus_V) * clamped(omega / BRAKE_FADE_RAD_S, -1.0f, 1.0f);
}

/// Too little voltage for the speed: current against the magnet, until the demand fits again; where
/// no more of it may flow, less across.
static struct axes weakened(struct axes wanted, float omega, float usable_V) {
  const float speed = magnitude(omega) > 100.0f ? magnitude(omega) : 100.0f;
  const float missing_V = current_demand_V() - RESERVE * usable_V;
  if (missing_V <= 0.0f && weakening_A == 0.0f) return wanted;
  const float step = 0.1f * TWO_PI * CURRENT_LOOP_HZ * PERIOD_S / (speed * INDUCTANCE_D_H);
  const float most_d = WEAKENING_LIMIT_A;
  const float most_q = square_root(CURRENT_LIMIT_A * CURRENT_LIMIT_A - most_d * most_d);
  weakening_A = clamped(weakening_A - step * missing_V, -most_d - most_q, 0.0f);
  if (weakening_A == 0.0f) return wanted;
  const float over = clamped(-most_d - wanted.d - weakening_A, 0.0f, most_q);
  wanted.d = clamped(wanted.d + weakening_A, -most_d, 0.0f);
  const float left = square_root(CURRENT_LIMIT_A * CURRENT_LIMIT_A - wanted.d * wanted.d) - over;
  wanted.q = clamped(wanted.q, -left, left);
  return wanted;
}

static struct axes on_axes(float theta, const float current_A[3]) {
  float s, c;
  sin_cos(theta, &s, &c);
  const float alpha = current_A[0], beta = (current_A[1] - current_A[2]) * 0.57735027f;
  const struct axes measured = {c * alpha + s * beta, c * beta - s * alpha};
  return measured;
}

/// Duties act in the next period, whose middle lies 1.5 periods ahead. The dead time takes sign(i)
/// of its share from each leg: for this current it is given back.
static void apply(struct axes volts, struct axes amperes, float theta, float omega, float bus_V,
                  float duty[3]) {
  float s, c;
  sin_cos(wrapped(theta + 1.5f * PERIOD_S * omega), &s, &c);
  duties_for(c * volts.d - s * volts.q, s * volts.d + c * volts.q, bus_V, duty);
  const float iu = c * amperes.d - s * amperes.q, ib = s * amperes.d + c * amperes.q;
  const float phase_A[3] = {iu, -0.5f * iu + 0.8660254f * ib, -0.5f * iu - 0.8660254f * ib};
  for (int k = 0; k < 3; ++k)
    duty[k] = clamped(duty[k] + DEAD_TIME_S * PWM_HZ * clamped(0.5f * phase_A[k], -1.0f, 1.0f),
                      0.0f, 1.0f);
}

static void control(struct axes wanted, float theta, float omega, const float current_A[3],
                    float bus_V, float duty[3]) {
  given_V = current_step(wanted, on_axes(theta, current_A), omega, USABLE * bus_V);
  apply(given_V, wanted, theta, omega, bus_V, duty);
}

static void run(const struct foc_inputs* in, const float current_A[3], float bus_V, float duty[3]) {
  const float omega = angle_rad_s();
  if (magnitude(omega) < STANDSTILL_RAD_S) direction = in->reverse ? -1.0f : 1.0f;
  const bool holds_speed = settings.full_speed_rpm > 0.0f && !in->brake;
  const float ramp = (holds_speed ? SPEED_TORQUE_RAMP_A_PER_S : TORQUE_RAMP_A_PER_S) * PERIOD_S;
  const float goal = goal_A(in, omega, bus_V);  // the brake may have taken torque_A to zero
  torque_A = clamped(goal, torque_A - ramp, torque_A + ramp);
  if (torque_A * omega > 0.0f) {  // the ramp would carry it beyond
    const float most_A = drive_limit_A(in, omega);
    torque_A = clamped(torque_A, -most_A, most_A);
  }
  const struct axes wanted = weakened(most_torque(torque_A), omega, USABLE * bus_V);
  control(wanted, angle_rad(), omega, current_A, bus_V, duty);
}

static void align(const struct foc_inputs* in, const float current_A[3], float bus_V,
                  float duty[3]) {
  const float share = clamped((float)periods / (float)PERIODS(0.4f), 0.0f, 1.0f);
  const struct axes wanted = {share * ALIGN_A, 0.0f};
  control(wanted, 0.0f, 0.0f, current_A, bus_V, duty);
  if (periods < PERIODS(0.8f)) return;
  angle_is_zero(in);
  enter(RUN);
}

static void learn(const struct foc_inputs* in, const float current_A[3], float bus_V,
                  float duty[3]) {
  // What was sampled now stands where the last answer's axes have turned to.
  const float theta = wrapped(learning.rad + learning.rad_s * PERIOD_S);
  learning = learn_step(in, on_axes(theta, current_A), given_V);
  said = learning.say;
  if (learning.wants == LEARN_DONE) return enter(STOPPED);
  if (learning.wants == LEARN_FAILED) return stop("learning failed\n");
  if (learning.wants == LEARN_VOLTS) {
    const struct axes none = {0.0f, 0.0f};  // the pulses cancel the dead time themselves
    current_reset();
    apply(learning.give, none, learning.rad, learning.rad_s, bus_V, duty);
  } else {
    control(learning.give, learning.rad, learning.rad_s, current_A, bus_V, duty);
  }
}

void foc_period(const struct foc_inputs* in, struct foc_outputs* out) {
  said = NULL;
  const bool angle_sound = angle_follow(in);
  float current_A[3];
  for (int k = 0; k < 3; ++k) {
    const int terminal = terminal_of[k];
    current_A[k] = (in->current_V[terminal] - offset_V[terminal]) / settings.current_V_per_A;
  }
  const float bus_V = in->bus_V / BUS_RATIO;
  float duty[3] = {0.0f, 0.0f, 0.0f};

  if (state == OFFSETS) {
    read_offsets(in);
  } else if (!in->key) {
    if (state != WAIT_KEY) enter(WAIT_KEY);
  } else if (state == WAIT_KEY) {
    enter(WAIT_REST);
    if (!at_rest(in)) said = "throttle open at start\n";
  } else if (state != STOPPED && sound(in, angle_sound || settings.learns, current_A, bus_V)) {
    const bool turns = angle_known() && magnitude(angle_rad_s()) > TURNING_RAD_S;
    if (state == WAIT_REST && at_rest(in) && !(turns && settings.learns)) {
      // All low switches would short a turning machine; its PWM charges the bootstraps as it
      // begins.
      enter(turns ? RUN : BOOTSTRAP);
      if (turns) said = "ready\n";
    }
    if (state == BOOTSTRAP && periods > PERIODS(0.002f)) {
      enter(settings.learns ? LEARN : angle_known() ? RUN : WAIT_THROTTLE);
      said = "ready\n";
      learn_reset();
    }
    if (state == WAIT_THROTTLE && throttle(in) > 0.0f) enter(ALIGN);
    if (state == ALIGN) align(in, current_A, bus_V, duty);
    if (state == LEARN) learn(in, current_A, bus_V, duty);
    if (state == RUN) run(in, current_A, bus_V, duty);
  }
  ++periods;

  for (int k = 0; k < 3; ++k) out->duty[terminal_of[k]] = duty[k];
  const bool switches = state == RUN || state == ALIGN || state == LEARN;
  out->legs = state == BOOTSTRAP ? FOC_LOW : switches ? FOC_PWM : FOC_OFF;
  out->say = said;
}
