/* Firmware compiled for the host: what the firmware and the bench know of each other. C11 and C++.
 *
 * The firmware is a shared object that exports sr_firmware_table(). The bench loads it, resets it
 * when its supply comes up, and calls its interrupts at instants of virtual time. One interrupt
 * runs at a time and to its end; while it runs time stands still, and whatever it reads is the
 * value of its instant. Without supply the firmware is gone; the next reset finds its memory as the
 * linker left it.
 *
 * Units    SI, in each name's suffix; times in nanoseconds since the bench began.
 * Lines    by sr_line, high or low as the controller's pin reads or drives them.
 * PWM      as a motor timer makes it: centre-aligned, complementary with dead time, the high side's
 *          on-time in the middle of the period. It goes on by itself, also while firmware hangs.
 * Errors   the bench reports and ends firmware that returns from an interrupt having asked for what
 *          cannot be (a duty that is no number, an unknown line), that never returns, or that
 *          touches memory that is not its own.
 */
#ifndef STILLROTOR_FIRMWARE_H
#define STILLROTOR_FIRMWARE_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define SR_FIRMWARE_VERSION 2u

enum sr_line {
  SR_GATE_UH,
  SR_GATE_UL,
  SR_GATE_VH,
  SR_GATE_VL,
  SR_GATE_WH,
  SR_GATE_WL, /* driven */
  SR_HALL_U,
  SR_HALL_V,
  SR_HALL_W,
  SR_ENCODER_A,
  SR_ENCODER_B,
  SR_ENCODER_Z,
  SR_KEY,
  SR_BRAKE,
  SR_REVERSE,
  SR_ANGLE_DATA,
  SR_ANGLE_CLOCK,
  SR_ANGLE_SELECT, /* clock and select: driven */
  SR_DRIVER_FAULT,
  SR_DRIVER_ENABLE, /* fault: high while it reports; enable: driven */
  SR_CONTACTOR,
  SR_BRAKE_CHOPPER, /* driven */
  SR_COMMAND_PULSE,
  SR_SPEED_LIMIT,
  SR_LAMP, /* driven */
  SR_LINE_COUNT
};

enum sr_channel {
  SR_THROTTLE,
  SR_CURRENT_U,
  SR_CURRENT_V,
  SR_CURRENT_W, /* of the phases */
  SR_BUS_VOLTAGE,
  SR_DC_LINK_CURRENT,
  SR_VOLTAGE_U,
  SR_VOLTAGE_V,
  SR_VOLTAGE_W, /* of the phases */
  SR_ANGLE_SIN,
  SR_ANGLE_COS,
  SR_TEMPERATURE_MOTOR,
  SR_TEMPERATURE_BRIDGE,
  SR_STAR_POINT, /* of the terminals */
  SR_CHANNEL_COUNT
};

enum sr_level { SR_LOW, SR_HIGH, SR_RELEASED };

enum sr_leg_mode {
  SR_LEG_OFF,          /* both switches off */
  SR_LEG_LOW,          /* low switch on */
  SR_LEG_CHOPPED_HIGH, /* high switch follows the PWM, low switch off */
  SR_LEG_COMPLEMENTARY /* high switch follows the PWM, low switch its opposite, dead time between */
};

struct sr_pwm {
  double frequency_Hz; /* 1 Hz to 1 MHz */
  double dead_time_s;  /* 0 to a tenth of the period */
  /* Converter channels that the timer triggers, a bit each (1u << SR_CURRENT_U), in the middle of
   * the low side's on-time (valley) and of the high side's (crest). Other channels may be read as
   * well; across processes each such read costs some microseconds of the bench's time. */
  uint32_t valley_samples, crest_samples;
  /* What the real processor needs from a trigger until its duties are written: they act from the
   * first valley that comes no sooner. 0: from the next valley on. */
  double compute_s;
  int stops_on_driver_fault; /* the timer's break input: all legs off, by hardware, at once */
};

struct sr_encoder {
  int64_t count;       /* of both lines' edges, forward up; 0 at reset */
  int64_t edge_ns;     /* when it last changed */
  int32_t direction;   /* of that change: 1, -1; 0: none yet */
  int32_t index_seen;  /* indices passed since reset */
  int64_t index_count; /* the count at the last one */
};

/* What the firmware may ask of its board, from any of its interrupts. `self` is passed back. */
struct sr_board {
  uint32_t version; /* SR_FIRMWARE_VERSION */
  void* self;

  int64_t (*now_ns)(void* self);
  double (*volts)(void* self, enum sr_channel);     /* at the pin */
  enum sr_level (*level)(void* self, enum sr_line); /* of lines the bench drives */
  void (*encoder)(void* self, struct sr_encoder*);  /* the timer's quadrature counter */

  void (*start_pwm)(void* self, const struct sr_pwm*); /* all legs off; a second call restarts */
  void (*duty)(void* self, int leg, double share);     /* 0 to 1, of the high side; leg 0 is U */
  void (*mode)(void* self, int leg, enum sr_leg_mode); /* at once */
  /* A line by hand, after so many seconds from now (0: now). Gates only where no PWM was started.
   */
  void (*drive)(void* self, enum sr_line, enum sr_level, double after_s);
  /* Timer 0 to 7 interrupts after each such time, first after one of it; 0: never more. */
  void (*timer)(void* self, int number, double period_s);
  /* The line's edges interrupt (1) or do not (0). */
  void (*watch)(void* self, enum sr_line, int on);
  void (*text)(void* self, const char*); /* to the console, with its line ends */
};

/* A value with a name that people may set: what a tool would write into the parameter memory of a
 * controller. The bench writes those that its `controller.settings` names between loading and
 * reset(), reads all of them back, and once more after reset(): a value that did not stay ends the
 * run. What reset() works out for itself belongs into other variables. */
enum sr_setting_type { SR_INT32, SR_FLOAT, SR_DOUBLE };

struct sr_setting {
  const char* name; /* a word: pole_pairs */
  const char* unit; /* as people write it, "V/A"; NULL: none */
  enum sr_setting_type type;
  void* at;           /* the variable; its value as linked is the default */
  double least, most; /* allowed */
};

/* The firmware's interrupts; those that it has not are NULL. */
struct sr_firmware {
  uint32_t version; /* SR_FIRMWARE_VERSION */
  const char* name;
  void (*reset)(const struct sr_board*); /* the board stays valid; this one is required */
  void (*valley)(void);                  /* of the PWM's period, its samples taken */
  void (*crest)(void);
  void (*timer)(int number);
  void (*edge)(enum sr_line, enum sr_level, int64_t at_ns); /* of a watched line */
  const struct sr_setting* settings;
  int setting_count; /* 0 to 256 */
};

/* Exported by the shared object. */
#if defined(__GNUC__)
__attribute__((visibility("default")))
#endif
const struct sr_firmware*
sr_firmware_table(void);

#ifdef __cplusplus
}
#endif
#endif
