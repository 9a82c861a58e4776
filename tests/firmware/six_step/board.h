// The board this firmware is written for: ATmega328P or ATmega8, 16 MHz, 5 V.
// Voltages at the pins in steps of the 10-bit converter: 5 V / 1024.
#pragma once

#include <stdint.h>

#ifdef __AVR_ATmega8__
#include "chip_atmega8.h"
#else
#include "chip_atmega328p.h"
#endif

#define VOLTS(v) ((uint16_t)((v)*1024.0 / 5.0 + 0.5))

// Gates: one is on. High sides: chip_....h.
#define UL_BIT PD2
#define VL_BIT PD4
#define WL_BIT PB0
#define LAMP_BIT PB5  // the fault lamp: high lights it

// Inputs
#define HALL_MASK 0x07  // PC0 U, PC1 V, PC2 W
#define BRAKE_BIT PD7   // high: brake
enum { ADC_THROTTLE = 3, ADC_CURRENT_U = 4, ADC_BUS = 5, ADC_CURRENT_V = 6, ADC_CURRENT_W = 7 };

// Throttle of the Hall type (about 0.8 V to 4.2 V); outside of the wire limits a wire is broken.
#define THROTTLE_WIRE_LOW VOLTS(0.3)
#define THROTTLE_REST VOLTS(1.0)
#define THROTTLE_ZERO VOLTS(1.1)
#define THROTTLE_FULL VOLTS(4.0)
#define THROTTLE_WIRE_HIGH VOLTS(4.6)

// Current: 20 mV/A about 2.5 V; either sign of amplifier.
#define AMPERES(a) ((uint16_t)((a)*0.020 * 1024.0 / 5.0 + 0.5))
#define OFFSET_LOWEST VOLTS(2.25)
#define OFFSET_HIGHEST VOLTS(2.75)
#define CURRENT_LIMIT AMPERES(40)  // duty is taken back above
#define CURRENT_TRIP AMPERES(55)   // gates off above

// Bus: 1/20
#define BUS_LOWEST VOLTS(30.0 / 20)
#define BUS_AGAIN VOLTS(33.0 / 20)
