/* Whether the outputs may show anything but their safe levels. They may not at the start, after a
 * time without a command from Linux, after falling behind, and when told; and nothing but
 * cp_guard_arm() brings them back. */
#ifndef STILLROTOR_COPROCESSOR_GUARD_H
#define STILLROTOR_COPROCESSOR_GUARD_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { CP_SAFE_START = 1, CP_SAFE_SILENCE, CP_SAFE_BEHIND, CP_SAFE_TOLD };

struct cp_guard {
  uint32_t silence_ticks; /* longest time between two commands, below 2^31 */
  uint32_t heard;         /* tick of the last one */
  uint32_t safe;          /* why the outputs are safe; 0: live */
};

void cp_guard_start(struct cp_guard*, uint32_t silence_ticks, uint32_t now);
void cp_guard_heard(struct cp_guard*, uint32_t now);
/* Nonzero: live until now, safe from now on. */
uint32_t cp_guard_look(struct cp_guard*, uint32_t now);
uint32_t cp_guard_make_safe(struct cp_guard*, uint32_t why);
/* Nonzero: safe until now, live from now on. */
uint32_t cp_guard_arm(struct cp_guard*, uint32_t now);

#ifdef __cplusplus
}
#endif

#endif
