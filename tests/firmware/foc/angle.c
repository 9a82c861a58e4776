// A loop of second order follows the encoder's count; where the count stands on the electrical turn
// is found out in three steps: the Hall sector's middle (30 degrees at worst), the first Hall edge
// (the placement's few degrees), the index (exact).
#include "angle.h"

#include "board.h"
#include "trig.h"

#define RAD_PER_COUNT (POLE_PAIRS * TWO_PI / ENCODER_COUNTS)
#define FOLLOW_RAD_S (TWO_PI * SPEED_LOOP_HZ)
#define DISAGREE_RAD (PI / 4.0f)

#ifdef ALIGN_AT_START
static const bool has_halls = false;  // and so does not know where the index lies
#else
static const bool has_halls = true;
#endif

enum known { NOTHING, SECTOR, HALL_EDGE, INDEX };

// By Hall code U + 2 V + 4 W: sector k lies about k * 60 degrees.
static const int8_t sector_of[8] = {-1, 0, 2, 1, 4, 5, 3, -1};

static enum known known;
static int32_t reference_count;  // stands ...
static float reference_rad;      // ... at this angle
static float theta, omega;
static int8_t sector;

/// Where the encoder stands: in the middle of its count.
static float encoder_rad(int32_t count) {
  const int32_t turned =
      (int32_t)((int64_t)(count - reference_count) * POLE_PAIRS % ENCODER_COUNTS);
  return wrapped(reference_rad + ((float)turned + 0.5f * POLE_PAIRS) * (TWO_PI / ENCODER_COUNTS));
}

static void refer(int32_t count, float rad, enum known how) {
  reference_count = count;
  reference_rad = rad;
  known = how;
  theta = encoder_rad(count);
}

void angle_reset(const struct foc_inputs* in) {
  omega = 0.0f;
  known = NOTHING;
  sector = -1;
  reference_count = in->count;
  reference_rad = 0.0f;
  if (!has_halls) return;
  sector = sector_of[in->hall & 7u];
  if (sector >= 0) refer(in->count, wrapped(sector * (PI / 3.0f)), SECTOR);
}

void angle_is_zero(const struct foc_inputs* in) {
  refer(in->count, 0.0f, HALL_EDGE);
  omega = 0.0f;
}

static bool take_halls(const struct foc_inputs* in) {
  const int8_t now = sector_of[in->hall & 7u];
  const int8_t before = sector;
  sector = now;
  if (now < 0) return false;
  if (before < 0 || now == before) return true;
  const bool up = now == (before + 1) % 6, down = before == (now + 1) % 6;
  if (!up && !down) return known <= SECTOR;
  const float border = wrapped(((float)before + (up ? 0.5f : -0.5f)) * (PI / 3.0f));
  if (known <= SECTOR) {
    refer(in->count, border, HALL_EDGE);
    return true;
  }
  const float off = wrapped(theta - border);
  return off < DISAGREE_RAD && off > -DISAGREE_RAD;
}

bool angle_follow(const struct foc_inputs* in) {
  static int32_t seen;
  if (known == NOTHING) seen = in->index_seen;
  theta = wrapped(theta + omega * PERIOD_S);
  const float error = wrapped(encoder_rad(in->count) - theta);
  theta = wrapped(theta + 2.0f * FOLLOW_RAD_S * PERIOD_S * error);
  omega += FOLLOW_RAD_S * FOLLOW_RAD_S * PERIOD_S * error;
  if (!has_halls) return true;
  if (in->index_seen != seen) {
    seen = in->index_seen;
    refer(in->index_count, wrapped(POLE_PAIRS * INDEX_RAD - 0.5f * RAD_PER_COUNT), INDEX);
    theta = encoder_rad(in->count);
  }
  return take_halls(in);
}

bool angle_known(void) { return known != NOTHING; }
float angle_rad(void) { return theta; }
float angle_rad_s(void) { return omega; }
