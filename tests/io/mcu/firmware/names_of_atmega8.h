// The ATmega328P's names for what an ATmega8 has under another one, so that one source tests both.
// Included by the compiler (-include) in front of the sources.
#pragma once

#include <avr/io.h>

#ifdef __AVR_ATmega8__
#define TIFR0 TIFR
#define TIFR1 TIFR
#define TIMSK0 TIMSK
#define TIMSK1 TIMSK
#define ICIE1 TICIE1
#define TCCR0B TCCR0
#define EICRA MCUCR
#define EIMSK GICR
#define ADATE ADFR
#define UBRR0 UBRRL
#define UCSR0A UCSRA
#define UCSR0B UCSRB
#define UDR0 UDR
#define UDRE0 UDRE
#define TXEN0 TXEN
#endif
