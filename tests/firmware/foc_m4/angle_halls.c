// The rotor's angle from its Halls alone: on from each edge at the speed that the last sectors had,
// but never out of the sector that they show. In place of ../foc/angle.c.
#include <stddef.h>

#include "angle.h"
#include "board.h"
#include "settings.h"
#include "trig.h"

#define SECTOR_RAD (PI / 3.0f)
#define STANDS_S 0.1f  // without an edge
#define FOLLOWS 0.3f   // share of what an edge says of the speed

static int8_t sector_of[8];  // by the Halls' lines
static int8_t sector;
static int8_t way;    // that the last edge was passed in; 0: none, or too long ago
static float border;  // that lies there
static float theta, omega;

static float middle(void) { return wrapped((float)sector * SECTOR_RAD); }

void angle_reset(const struct foc_inputs* in) {
  hall_sectors(sector_of);
  sector = sector_of[in->hall];
  way = 0;
  omega = 0.0f;
  theta = sector < 0 ? 0.0f : middle();
}

void angle_is_zero(const struct foc_inputs* in) { angle_reset(in); }

/// False: no neighbour, so one has been missed.
static bool take_edge(int8_t next, float apart_s) {
  const bool up = next == (sector + 1) % 6, down = sector == (next + 1) % 6;
  const int8_t passed = up ? 1 : -1;
  border = wrapped(((float)sector + 0.5f * (float)passed) * SECTOR_RAD);
  sector = next;
  if (!up && !down) return false;
  // Between two edges the other way round lies no whole sector.
  const float said = passed == way && apart_s > 0.0f ? (float)passed * SECTOR_RAD / apart_s : 0.0f;
  omega = passed == way && omega != 0.0f ? omega + FOLLOWS * (said - omega) : said;
  way = passed;
  return true;
}

bool angle_follow(const struct foc_inputs* in) {
  const int8_t now = sector_of[in->hall];
  bool sound = now >= 0;
  if (now >= 0 && sector >= 0 && now != sector) sound = take_edge(now, in->edges_apart_s);
  sector = now;
  if (now < 0) return false;
  if (in->edge_s > STANDS_S) {
    way = 0;
    omega = 0.0f;
  }
  if (way == 0) {
    theta = middle();
    return sound;
  }
  // It cannot have been faster than this since.
  if (magnitude(omega) * in->edge_s > SECTOR_RAD) omega = (float)way * SECTOR_RAD / in->edge_s;
  const float off = wrapped(border + omega * in->edge_s - middle());
  theta = wrapped(middle() + clamped(off, -0.5f * SECTOR_RAD, 0.5f * SECTOR_RAD));
  return sound;
}

bool angle_known(void) { return sector >= 0; }
float angle_rad(void) { return wrapped(theta + settings.angle_offset_deg * (PI / 180.0f)); }
float angle_rad_s(void) { return omega; }
