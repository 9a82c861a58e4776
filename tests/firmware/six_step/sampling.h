// The converter, always busy: a current, throttle, a current, bus voltage, and again.
#pragma once

#include <stdbool.h>
#include <stdint.h>

/// Reads the zero-current offsets: 16 readings a channel, averaged. False: one is implausible.
bool sampling_measure_offsets(void);
void sampling_start(void);

uint16_t sampling_throttle(void);
uint16_t sampling_bus(void);
/// Largest magnitude about the offset since the last call.
uint16_t sampling_take_current_peak(void);
/// A current went over CURRENT_TRIP; the gates went off at once.
bool sampling_tripped(void);
void sampling_clear_trip(void);
