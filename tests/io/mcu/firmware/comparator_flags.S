; The comparator's flag without its interrupt: after 4000 cycles PD4 shows ACI; then one is written
; to it and PD4 shows it again. CLEARED: a one is written before, too. OFF: the comparator is switched off before.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r17, 0x04
        ldi   r16, 0x14
        out   DDRD, r16
        out   PORTD, r17
#ifdef OFF
        ldi   r18, _BV(ACD)
        out   ACSR, r18
#else
        ldi   r18, 0
#endif
        in    r16, ACSR         ; the first look
#ifdef CLEARED
        ldi   r16, _BV(ACI)     ; from here on it is awaited
        out   ACSR, r16
#endif
        ldi   r24, lo8(1000)
        ldi   r25, hi8(1000)
wait:   sbiw  r24, 1
        brne  wait              ; 4 cycles a turn
        in    r16, ACSR
        bst   r16, ACI
        bld   r17, 4
        out   PORTD, r17
        ori   r18, _BV(ACI)
        out   ACSR, r18
        in    r16, ACSR
        bst   r16, ACI
        bld   r17, 4
        out   PORTD, r17
stay:   rjmp  stay
