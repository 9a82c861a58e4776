// The board and machine this firmware is written for: 5 V converter, in-line current sensors, the
// cart's mid machine with Halls and encoder. All invented, as the cart is. More stands in
// settings.c.
#pragma once

#ifndef PWM_HZ
#define PWM_HZ 8000.0f
#endif
#define PERIOD_S (1.0f / PWM_HZ)
#define DEAD_TIME_S 1e-6f
#define COMPUTE_S 30e-6f  // from the trigger to the new duties, on the processor it is meant for

// Sensors
#define CURRENT_V_PER_A 0.016f
#define OFFSET_V 2.5f
#define OFFSET_MOST_V 0.15f  // off the middle, or the sensor is not trusted
#define BUS_RATIO (1.0f / 25.0f)

// Throttle
#define THROTTLE_WIRE_LOW_V 0.3f
#define THROTTLE_REST_V 1.0f
#define THROTTLE_ZERO_V 1.1f
#define THROTTLE_FULL_V 4.0f
#define THROTTLE_WIRE_HIGH_V 4.6f

// Machine
#define RESISTANCE_OHM 0.025f
#define INDUCTANCE_D_H 150e-6f
#define INDUCTANCE_Q_H 250e-6f
#define FLUX_WB 0.025f

// Limits
#define CURRENT_LIMIT_A 80.0f
#define WEAKENING_LIMIT_A 76.0f  // against the magnets
#define CURRENT_TRIP_A 120.0f
#define REGEN_LIMIT_A 25.0f
#define TORQUE_RAMP_A_PER_S 200.0f
// Of speed control: with the throttle's slow ramp inside its loop it hunts after a brake, ever
// wider.
#define SPEED_TORQUE_RAMP_A_PER_S 4000.0f
#define BUS_LOWEST_V 40.0f
#define BUS_FADE_V 82.0f  // braking fades from here ...
#define BUS_MOST_V 88.0f  // ... to here
#define BUS_TRIP_V 95.0f

// Control
#define CURRENT_LOOP_HZ 500.0f
#define SPEED_LOOP_HZ 40.0f  // of the loop that follows the encoder
// Speed control, where a setting asks for it, for the bare rotor: 5 Hz. Angles are electrical.
#define SPEED_A_S_PER_RAD 0.2f
#define SPEED_A_PER_RAD 1.6f
#define SPEED_RAMP_RAD_S2 1000.0f
