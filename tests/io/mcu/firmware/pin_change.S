; A pin-change (or INT0) interrupt raises PD4: sbi in the handler, entered by one jump.
#define __SFR_OFFSET 0
#include <avr/io.h>
        rjmp  start             ; 0x00
        nop
        rjmp  handler           ; 0x04 INT0
        nop
        .org  0x10
        rjmp  handler           ; 0x10 PCINT1
        nop
        .org  0x68
start:  ldi   r16, 0x08
        out   SPH, r16
        ldi   r16, 0xff
        out   SPL, r16
        ldi   r16, 0x10
        out   DDRD, r16
#ifdef USE_INT0
        ldi   r16, _BV(ISC01) | _BV(ISC00)
        sts   EICRA, r16
        sbi   EIMSK, INT0
#else
        ldi   r16, PINS
        sts   PCMSK1, r16
        ldi   r16, _BV(PCIE1)
        sts   PCICR, r16
#endif
        sei
stay:   rjmp  stay
handler:
        sbi   PORTD, 4
        cbi   PORTD, 4
        reti
