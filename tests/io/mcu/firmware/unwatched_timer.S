; A timer that nothing watches runs on: its count and flag are read after many turns and shown.
; Cycles from the end of the OUT that starts it to the start of the IN: 2 + (4 * 50011 - 1) = 200045.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0xff
        out   DDRD, r16
        out   DDRB, r16
        ldi   r16, _BV(CS00)
        out   TCCR0B, r16
        ldi   r24, lo8(50011)
        ldi   r25, hi8(50011)
turn:   sbiw  r24, 1            ; 2
        brne  turn              ; 2, the last time 1
        in    r18, TCNT0
        in    r19, TIFR0
        out   PORTD, r18
        out   PORTB, r19
stay:   rjmp  stay
