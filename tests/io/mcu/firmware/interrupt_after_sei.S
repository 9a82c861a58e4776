; An interrupt is pending when SEI is executed: one more instruction runs, then the handler; the
; same after RETI. PD2 rises by the instruction after SEI, PD4 by the handler, PD2 falls by the next.
#define __SFR_OFFSET 0
#include <avr/io.h>
        rjmp  start
        nop
        .org  0x40              ; TIMER0_OVF
        rjmp  handler
        nop
        .org  0x68
start:  ldi   r16, 0x08
        out   SPH, r16
        ldi   r16, 0xff
        out   SPL, r16
        ldi   r16, 0x14
        out   DDRD, r16
        ldi   r16, _BV(TOIE0)
        sts   TIMSK0, r16
        ldi   r16, _BV(CS00)
        out   TCCR0B, r16
wait:   sbis  TIFR0, TOV0
        rjmp  wait
        ldi   r16, 0
        out   TCCR0B, r16
        ldi   r17, 0x04
        ldi   r18, 0x10
        sei
        out   PORTD, r17        ; this one still runs
        out   PORTD, r16
stay:   rjmp  stay
handler:
        out   PORTD, r18
        reti
