/* 32767 sin(2 pi k / 256), k = 0 to 256, rounded; a test computes it again. */
#ifndef STILLROTOR_COPROCESSOR_SINE_TABLE_H
#define STILLROTOR_COPROCESSOR_SINE_TABLE_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

extern const int16_t cp_sine_table[257];

#ifdef __cplusplus
}
#endif

#endif
