; Three ways to write a port, their cycles counted by hand. Cycle 0 is the first instruction.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0x04         ; 0
        ldi   r17, 0x00         ; 1
        out   DDRD, r16         ; 2   PD2 becomes an output, low, at 3
loop:   sbi   PORTD, 2          ; 3   high at 5
        nop                     ; 5
        cbi   PORTD, 2          ; 6   low at 8
        out   PORTD, r16        ; 8   high at 9
        sts   PORTD+0x20, r17   ; 9   low at 11
        sbi   PIND, 2           ; 11  toggles: high at 13
        out   PORTD, r17        ; 13  low at 14
        rjmp  loop              ; 14  the next sbi starts at 16: 13 cycles a turn
