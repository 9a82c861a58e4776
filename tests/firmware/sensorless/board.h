// The board this firmware is written for: ATmega328P, 16 MHz, 5 V.
#pragma once

#include <stdint.h>

#define VOLTS(v) ((uint16_t)((v)*1024.0 / 5.0 + 0.5))  // steps of the converter

// Gates: one is on. High sides sit on compare outputs; AIN0 (PD6) stays free for the star point.
#define UH_BIT PD5  // OC0B
#define VH_BIT PD3  // OC2B
#define WH_BIT PB3  // OC2A
#define UL_BIT PB0
#define VL_BIT PB1
#define WL_BIT PB2

// Converter inputs: U, V, W are the comparator's negative input by way of the multiplexer.
enum { ADC_U = 0, ADC_V = 1, ADC_W = 2, ADC_THROTTLE = 3 };

#define THROTTLE_WIRE_LOW VOLTS(0.3)
#define THROTTLE_REST VOLTS(1.0)
#define THROTTLE_ZERO VOLTS(1.1)
#define THROTTLE_FULL VOLTS(4.0)
#define THROTTLE_WIRE_HIGH VOLTS(4.6)
