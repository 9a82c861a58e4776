// A loop of second order follows the encoder's count; where the count stands on the electrical turn
// is found out in three steps: the Hall sector's middle (30 degrees at worst), the first Hall edge
// (the placement's few degrees), the index (exact).
#include "angle.h"

#include "board.h"
#include "settings.h"
#include "trig.h"

#define ENCODER_COUNTS (4 * settings.encoder_lines)
#define FOLLOW_RAD_S (TWO_PI * SPEED_LOOP_HZ)
#define DISAGREE_RAD (PI / 4.0f)

#ifdef ALIGN_AT_START
static const bool has_halls = false;  // and so does not know where the index lies
#else
static const bool has_halls = true;
#endif

enum known { NOTHING, SECTOR, HALL_EDGE, INDEX };

static int8_t sector_of[8];  // by the Halls' lines
static float step_rad;       // a turn by the encoder's counts
static enum known known;
static int32_t reference_count;  // stands ...
static float reference_rad;      // ... at this angle
static float theta, omega;
static int8_t sector;

/// Where the encoder stands, in the middle of its count; within two turns.
static float encoder_rad(int32_t count) {
  const int32_t counts = ENCODER_COUNTS;  // 32 pole pairs of these are far below 2^31
  const int32_t turned = (count - reference_count) % counts * settings.pole_pairs % counts;
  return reference_rad + ((float)turned + 0.5f * (float)settings.pole_pairs) * step_rad;
}

static void refer(int32_t count, float rad, enum known how) {
  reference_count = count;
  reference_rad = rad;
  known = how;
  theta = wrapped(encoder_rad(count));
}

void angle_reset(const struct foc_inputs* in) {
  omega = 0.0f;
  known = NOTHING;
  sector = -1;
  reference_count = in->count;
  reference_rad = 0.0f;
  step_rad = TWO_PI / (float)ENCODER_COUNTS;
  if (!has_halls) return;
  hall_sectors(sector_of);
  sector = sector_of[in->hall];
  if (sector >= 0) refer(in->count, wrapped(sector * (PI / 3.0f)), SECTOR);
}

void angle_is_zero(const struct foc_inputs* in) {
  refer(in->count, 0.0f, HALL_EDGE);
  omega = 0.0f;
}

static bool take_halls(const struct foc_inputs* in) {
  const int8_t now = sector_of[in->hall];
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
  const float ahead = theta + omega * PERIOD_S;
  const float error = wrapped(encoder_rad(in->count) - ahead);
  theta = wrapped(ahead + 2.0f * FOLLOW_RAD_S * PERIOD_S * error);
  omega += FOLLOW_RAD_S * FOLLOW_RAD_S * PERIOD_S * error;
  if (!has_halls) return true;
  if (in->index_seen != seen) {
    seen = in->index_seen;
    // The index stands at the beginning of its count.
    const float count_rad = (float)settings.pole_pairs * step_rad;
    const float index_rad = (float)settings.pole_pairs * settings.index_deg * (PI / 180.0f);
    // The angle moves with its reference, and keeps what it has followed within the count: taken
    // anew it would lie ahead once a turn, and the speed below what it is.
    const float followed = theta, before = encoder_rad(in->count);
    refer(in->index_count, wrapped(index_rad - 0.5f * count_rad), INDEX);
    theta = wrapped(followed + wrapped(encoder_rad(in->count) - before));
  }
  return take_halls(in);
}

bool angle_known(void) { return known != NOTHING; }
float angle_rad(void) { return wrapped(theta + settings.angle_offset_deg * (PI / 180.0f)); }
float angle_rad_s(void) { return omega; }
