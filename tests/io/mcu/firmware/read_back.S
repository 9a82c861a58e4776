; out, in: the old level; out, nop, in: the new one (datasheet, Reading the Pin Value).
; PD4 shows what the first read saw, PD5 the second.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0x34
        out   DDRD, r16
        ldi   r17, 0x04
        ldi   r20, 0
        out   PORTD, r17
        in    r18, PIND
        out   PORTD, r20
        nop
        nop
        out   PORTD, r17
        nop
        in    r19, PIND
        sbrc  r18, 2
        sbi   PORTD, 4
        sbrc  r19, 2
        sbi   PORTD, 5
stay:   rjmp  stay
