; What the comparator says, on PD4. POLL: its output, looked at every six cycles, SLOWLY: every 1000. Else its interrupt,
; out of sleep, each a pulse of two cycles; SENSE: the edges it is on. MUX: the negative input is
; that ADC input, and with ADC_ON it is not. REFERENCE: 1.1 V is the positive one.
#define __SFR_OFFSET 0
#include <avr/io.h>
        rjmp  start             ; 0x00
        nop
        .org  0x5c
        rjmp  handler           ; 0x5c ANALOG_COMP
        nop
        .org  0x68
start:  ldi   r16, 0x08
        out   SPH, r16
        ldi   r16, 0xff
        out   SPL, r16
        ldi   r16, 0x14
        out   DDRD, r16
        ldi   r16, 0x04
        out   PORTD, r16        ; PD2: set up
#ifdef MUX
        ldi   r16, MUX
        sts   ADMUX, r16
        ldi   r16, _BV(ACME)
        sts   ADCSRB, r16
#endif
#ifdef ADC_ON
        ldi   r16, _BV(ADEN)
        sts   ADCSRA, r16
#endif
#ifdef REFERENCE
        ldi   r16, _BV(ACBG)
        out   ACSR, r16
#endif
#ifdef POLL
        ldi   r17, 0x04
look:   in    r16, ACSR         ; 1
        bst   r16, ACO          ; 1
        bld   r17, 4            ; 1
        out   PORTD, r17        ; 1
#ifdef SLOWLY
        ldi   r24, lo8(248)     ; 1000 cycles a turn
        ldi   r25, hi8(248)     ; 2
wait:   sbiw  r24, 1
        brne  wait              ; 248 * 4 - 1
        nop
#endif
        rjmp  look              ; 2
#else
        ldi   r16, _BV(ACI) | _BV(ACIE) | SENSE
        out   ACSR, r16
        ldi   r16, _BV(SE)
        out   SMCR, r16
        sei
stay:   sleep
        rjmp  stay
#endif
handler:
        sbi   PORTD, 4
        cbi   PORTD, 4
        reti
