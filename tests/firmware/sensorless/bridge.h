// Six steps: one high switch chopped, one low switch on, the third terminal floating and watched.
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum { STEPS = 6 };

void bridge_init(void);
/// Returns when any switch may be turned on.
void bridge_off(void);
/// Step 0 to 5, forward; the comparator looks at its floating terminal.
void bridge_step(uint8_t step);
/// An even step's floating terminal high, the others low: holds the rotor in the middle of that
/// step. The loop of the two low switches brakes its swing.
void bridge_hold(uint8_t even_step);
/// Of 255; acts from the next PWM period on.
void bridge_set_duty(uint8_t duty);

/// Waits for the middle of the next on-time. True: the back-EMF of the floating terminal has the
/// sign that it has at the end of this step.
bool bridge_sample_passed(void);
/// All switches off: the sign of U's back-EMF.
bool bridge_sign_of_U(void);
/// The converter, which takes the multiplexer from the comparator for 30 us.
uint16_t bridge_throttle(void);
