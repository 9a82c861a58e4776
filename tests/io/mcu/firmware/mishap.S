; Ways to come to an end, chosen at compile time.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0x04
        out   DDRD, r16
        out   PORTD, r16
#if defined ILLEGAL
        .word 0x0001            ; at 0x06: no instruction
#elif defined JUMP_AWAY
        ldi   r30, 0xff
        ldi   r31, 0x7f
        ijmp                    ; to word 0x7fff, beyond 16384 words
#elif defined BEYOND_RAM
        sts   0x0900, r16       ; RAM ends at 0x08ff
#elif defined STANDSTILL
        cli
stop:   rjmp  stop
#elif defined RESERVED_MODE
        ldi   r16, _BV(WGM02)
        out   TCCR0B, r16
#elif defined EXTERNAL_CLOCK
        ldi   r16, 7
        out   TCCR0B, r16
#elif defined DIVIDED_CLOCK
        ldi   r16, _BV(CLKPCE)
        sts   CLKPR, r16
        ldi   r16, 3
        sts   CLKPR, r16
#elif defined LOW_LEVEL
        sbi   EIMSK, INT0
#endif
go_on:  nop
        rjmp  go_on
