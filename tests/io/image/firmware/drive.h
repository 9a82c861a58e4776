/* Quantities in structures, as firmware of users has them. Every number has a value of its own. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

typedef float amperes;
enum state { STANDS, STARTS, RUNS = 200 };
enum direction { BACKWARD = -1, STILL, FORWARD };

struct pid {
  float gain, integral;
};
struct axis {
  uint8_t id;
  struct pid pid[2];
  const volatile int16_t* source;
};
struct flags {
  uint8_t armed : 1;
  uint8_t level : 3;
  int8_t trim : 4;
  uint16_t code : 11;
};
typedef struct {
  struct axis axis[3];
  volatile amperes iq_target;
  enum state state;
  enum direction direction;
  bool enabled;
  double energy_J;
  uint64_t ticks;
  int64_t position;
  struct flags flags;
  union {
    uint32_t word;
    uint8_t bytes[4];
  };
  struct {
    int32_t turns;
  } counter;
  int16_t table[2][3];
} drive_t;

extern volatile drive_t drive;
void other(void);
