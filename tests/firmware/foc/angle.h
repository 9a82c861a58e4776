// The rotor's electrical angle and speed from encoder, Halls and index.
#pragma once

#include <stdbool.h>
#include <stdint.h>

#include "foc.h"

void angle_reset(const struct foc_inputs*);
/// Once a period. False: the Halls show what no rotor position gives, or contradict the encoder.
bool angle_follow(const struct foc_inputs*);
/// The rotor has been pulled to electrical angle 0.
void angle_is_zero(const struct foc_inputs*);

bool angle_known(void);
float angle_rad(void);    // electrical, -pi to pi
float angle_rad_s(void);  // electrical, forward positive
