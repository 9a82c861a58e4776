; Says "ok" and a line end at 38400 baud, polled; PD2 rises with the write of the first byte.
#define __SFR_OFFSET 0
#include <avr/io.h>
        ldi   r16, 0x04
        out   DDRD, r16
        ldi   r17, 25
        sts   UBRR0L, r17
        ldi   r17, _BV(TXEN0)
        sts   UCSR0B, r17
        ldi   r18, 'o'
        sts   UDR0, r18
        out   PORTD, r16        ; one cycle after the write
        ldi   r18, 'k'
        rcall put
        ldi   r18, 13
        rcall put
        ldi   r18, 10
        rcall put
stay:   rjmp  stay
put:    lds   r19, UCSR0A
        sbrs  r19, UDRE0
        rjmp  put
        sts   UDR0, r18
        ret
