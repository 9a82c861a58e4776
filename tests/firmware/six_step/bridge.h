// Six gates by three Halls: PWM on the high switch of one leg, low switch of another leg on.
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum leg { LEG_U, LEG_V, LEG_W, LEG_NONE };

void bridge_init(void);
/// All six gates low, at once; stays so until bridge_start().
void bridge_off(void);
/// Commutates by the present Halls from now on. False: their code is 000 or 111.
bool bridge_start(void);
/// Duty of the high switch, 0 to 255 of 256; taken over at the next PWM period.
void bridge_set_duty(uint8_t duty);
/// The leg whose low switch is on: its shunt carries the current.
enum leg bridge_low_leg(void);
bool bridge_is_on(void);
/// 000 or 111 was seen; the gates went off at once.
bool bridge_hall_failed(void);
void bridge_forget_hall_failure(void);
bool bridge_halls_valid(void);
