#include "learn.h"

#include <stddef.h>

#include "board.h"
#include "settings.h"
#include "text.h"
#include "trig.h"

#define PERIODS(seconds) ((int32_t)((seconds)*PWM_HZ))
#define LEARN_A 30.0f
#define PULSE_V 12.0f
#define TURN_RAD_S 25.0f   // electrical
#define SPIN_RAD_S 600.0f  // electrical
#define MOST_TURNS_RAD 400.0f

enum step {
  PULL,
  HALF,
  WHOLE,
  REST,
  PULSE_D,
  PULSE_Q,
  GATHER,
  FORWARD,
  STAND,
  BACKWARD,
  SPIN,
  FREE
};

static enum step step;
static int32_t periods;
static float rad, rad_s;  // of the vector
static float turned;      // the same, not wrapped
static float sum, half_V;
static float before, pulse[2], product;
static int32_t indices, index_count;
static float index_turned, index_rad;
static int32_t counts, pole_pairs, count_then;
static float found_H;               // mean of both inductances
static float high_s[3], high_c[3];  // of each Hall line: where the vector stood while it was high

static void enter(enum step next) {
  step = next;
  periods = 0;
  sum = 0.0f;
}

void learn_reset(void) {
  enter(PULL);
  rad = rad_s = turned = 0.0f;
  for (int k = 0; k < 3; ++k) high_s[k] = high_c[k] = 0.0f;
}

/// The vector's next place, its speed on the way to the wanted one.
static void turn(float wanted_rad_s, float rad_s2) {
  const float step_rad_s = rad_s2 * PERIOD_S;
  rad_s = clamped(wanted_rad_s, rad_s - step_rad_s, rad_s + step_rad_s);
  rad = wrapped(rad + rad_s * PERIOD_S);
  turned += rad_s * PERIOD_S;
}

/// Plus, minus, minus, plus: current, its resistive drop and the dead time's share cancel.
static float pulse_V(void) { return (periods + 1) & 2 ? -PULSE_V : PULSE_V; }

/// From the current's steps, each two periods behind its voltage. 0: not yet.
static float inductance_uH(float current_A) {
  if (periods > 2) {
    product += pulse[1] * (current_A - before);
    sum += pulse[1] * pulse[1];
  } else {
    product = 0.0f;
  }
  before = current_A;
  pulse[1] = pulse[0];
  pulse[0] = pulse_V();
  return periods < 67 ? 0.0f : 1e6f * PERIOD_S * sum / product;
}

static void watch_halls(const struct foc_inputs* in) {
  float s, c;
  sin_cos(rad, &s, &c);
  for (int k = 0; k < 3; ++k) {
    if ((in->hall >> k & 1) == 0) continue;
    high_s[k] += s;
    high_c[k] += c;
  }
}

/// The sixth of a turn about which the line is high: 0, 2, 4 for U, V, W, their opposites inverted.
static int sixth_of(int line) {
  int best = 0;
  float most = -1e9f;
  for (int m = 0; m < 6; ++m) {
    float s, c;
    sin_cos(wrapped((float)m * (PI / 3.0f)), &s, &c);
    const float along = c * high_c[line] + s * high_s[line];
    if (along <= most) continue;
    most = along;
    best = m;
  }
  return best;
}

static void say_halls(void) {
  static const int8_t phase_of[6] = {0, 2, 1, 0, 2, 1};
  int line_of[3], upside_down = 0;
  for (int line = 0; line < 3; ++line) {
    const int sixth = sixth_of(line);
    line_of[phase_of[sixth]] = line;
    upside_down += sixth & 1;
  }
  const bool sixty = upside_down == 1 || upside_down == 2;
  const int second = sixty ? 2 : 1;  // at 60 degrees W lies in the middle
  int order = 0;
  while (order < 5 && (order_of(order, 0) != line_of[0] || order_of(order, 1) != line_of[second]))
    ++order;
  text_number("hall_order ", (float)order, "\n");
  text_number("hall_inverted ", upside_down > 1 ? 1.0f : 0.0f, "\n");
  text_number("hall_spacing ", sixty ? 60.0f : 120.0f, "\n");
}

/// True at a new index; it was passed up to a period ago.
static bool at_index(const struct foc_inputs* in) {
  if (in->index_seen == indices) return false;
  indices = in->index_seen;
  return true;
}

/// Forward from one index to the next, then back to it: what the rotor lags cancels.
static void take_turn(const struct foc_inputs* in) {
  counts = in->index_count - index_count;
  const float turns = (turned - index_turned) / TWO_PI;
  pole_pairs = (int32_t)(magnitude(turns) + 0.5f);
  index_rad = rad;
}

static void say_turn(void) {
  const float middle = index_rad + 0.5f * wrapped(rad - index_rad);
  const float positive = middle < 0.0f ? middle + TWO_PI : middle;
  text_number("pole_pairs ", (float)pole_pairs, "\n");
  text_number("encoder_counts ", (float)counts, "\n");
  text_number("index ", positive * (180.0f / PI) / (float)pole_pairs, " deg\n");
  say_halls();
}

struct learning learn_step(const struct foc_inputs* in, struct axes measured_A,
                           struct axes given_V) {
  struct learning now = {LEARN_AMPERES, {LEARN_A, 0.0f}, 0.0f, 0.0f, NULL};
  text_clear();
  switch (step) {
    case PULL:
      now.give.d = LEARN_A * clamped((float)periods / (float)PERIODS(0.4f), 0.0f, 1.0f);
      if (periods == PERIODS(1.5f)) enter(HALF);
      break;
    case HALF:
    case WHOLE:
      if (step == HALF) now.give.d = 0.5f * LEARN_A;
      if (periods >= PERIODS(0.2f)) sum += given_V.d / (float)PERIODS(0.1f);
      if (periods + 1 < PERIODS(0.3f)) break;
      if (step == WHOLE)
        text_number("resistance ", 1e3f * (sum - half_V) / (0.5f * LEARN_A), " mohm\n");
      half_V = sum;
      enter(step == HALF ? WHOLE : REST);
      break;
    case REST:
      now.give.d = 0.0f;
      if (periods == PERIODS(0.02f)) enter(PULSE_D);
      break;
    case PULSE_D:
    case PULSE_Q: {
      const bool along = step == PULSE_D;
      const float found_uH = inductance_uH(along ? measured_A.d : measured_A.q);
      now.wants = LEARN_VOLTS;
      now.give.d = along ? pulse[0] : 0.0f;
      now.give.q = along ? 0.0f : pulse[0];
      if (found_uH == 0.0f) break;
      text_number(along ? "inductance_d " : "inductance_q ", found_uH, " uH\n");
      found_H = (along ? 0.0f : found_H) + 0.5e-6f * found_uH;
      enter(along ? PULSE_Q : GATHER);
      break;
    }
    case GATHER:
      indices = in->index_seen;
      if (periods == PERIODS(0.3f)) enter(FORWARD);
      break;
    case FORWARD:
      turn(TURN_RAD_S, 100.0f);
      watch_halls(in);
      if (turned > MOST_TURNS_RAD) now.wants = LEARN_FAILED;
      if (!at_index(in)) break;
      if (sum > 0.0f) {
        take_turn(in);
        enter(STAND);
      } else {
        sum = 1.0f;
        index_count = in->index_count;
        index_turned = turned;
      }
      break;
    case STAND:
      // On for a while before it turns: the Halls then see as much of one way as of the other.
      turn(periods < PERIODS(0.2f) ? TURN_RAD_S : -TURN_RAD_S, 100.0f);
      watch_halls(in);
      if (periods < PERIODS(0.4f) || !at_index(in)) break;
      enter(BACKWARD);
      say_turn();
      break;
    case BACKWARD:
      turn(0.0f, 100.0f);
      if (periods == PERIODS(0.5f)) enter(SPIN);
      break;
    case SPIN:
      turn(SPIN_RAD_S, 300.0f);
      if (periods == PERIODS(2.5f)) enter(FREE);
      break;
    case FREE:
      turn(SPIN_RAD_S, 300.0f);
      now.give.d = 0.0f;
      if (periods == PERIODS(0.02f)) count_then = in->count;
      if (periods >= PERIODS(0.02f)) {
        // The rotor falls behind the axes, and some current flows that nobody asked for.
        const float d = given_V.d + rad_s * found_H * measured_A.q;
        const float q = given_V.q - rad_s * found_H * measured_A.d;
        sum += square_root(d * d + q * q);
      }
      if (periods < PERIODS(0.07f)) break;
      // The volts of so many periods by the angle turned in them.
      text_number(
          "flux ",
          1e3f * sum * PERIOD_S /
              (TWO_PI * (float)pole_pairs * (float)(in->count - count_then) / (float)counts),
          " mWb\n");
      text_word("learnt\n");
      now.wants = LEARN_DONE;
      break;
  }
  ++periods;
  now.rad = rad;
  now.rad_s = rad_s;
  now.say = text_said();
  return now;
}
