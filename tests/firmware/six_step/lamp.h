// The fault lamp: blinks a code, 0.25 s lit and 0.25 s dark, then 1.5 s dark, again and again.
#pragma once

#include <stdint.h>

void lamp_init(void);
/// Once a PWM period. code: how often it blinks, 0: not at all. Another one waits for the next
/// group.
void lamp_period(uint8_t code);
