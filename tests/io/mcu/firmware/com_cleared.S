; Disconnects OC0A in the high part of its period: the pin shows its PORT bit at once.
; PD2 marks the instruction before. LATCH: the PORT bit of the pin.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0x44
        out   DDRD, r16
        ldi   r17, LATCH << 6
        out   PORTD, r17
        ldi   r16, 200
        out   OCR0A, r16
        ldi   r16, _BV(COM0A1) | _BV(WGM01) | _BV(WGM00)
        out   TCCR0A, r16
        ldi   r18, _BV(WGM01) | _BV(WGM00)
        ldi   r16, _BV(CS01)
        out   TCCR0B, r16
wrap:   sbis  TIFR0, TOV0       ; into the first full period
        rjmp  wrap
        ldi   r19, 100
wait:   in    r20, TCNT0
        cpse  r20, r19
        rjmp  wait
        sbi   PIND, 2           ; the mark
        out   TCCR0A, r18       ; one cycle after it the pin is a port again
stay:   rjmp  stay
