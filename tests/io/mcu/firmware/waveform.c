// One waveform, chosen at compile time: TIMER, WGM, COM_A, COM_B, OCR_A, OCR_B, TOP, CS.
#include <avr/io.h>

int main(void) {
  DDRD = _BV(PD6) | _BV(PD5) | _BV(PD3) | _BV(PD2);
  DDRB = _BV(PB1) | _BV(PB2) | _BV(PB3);
#if TIMER == 0
  OCR0A = OCR_A;
  OCR0B = OCR_B;
  TCCR0A = COM_A << 6 | COM_B << 4 | (WGM & 3);
  TCCR0B = (WGM >> 2 & 1) << WGM02 | CS;
#elif TIMER == 1
  ICR1 = TOP;
  TCCR1A = WGM & 3;
  TCCR1B = (WGM >> 2 & 3) << WGM12;
  ICR1 = TOP;
  OCR1A = OCR_A;
  OCR1B = OCR_B;
  TCCR1A = COM_A << 6 | COM_B << 4 | (WGM & 3);
  TCCR1B = (WGM >> 2 & 3) << WGM12 | CS;
#elif defined __AVR_ATmega8__
  OCR2 = OCR_A;
  TCCR2 = COM_A << COM20 | (WGM & 1) << WGM20 | (WGM >> 1) << WGM21 | CS;
#else
  OCR2A = OCR_A;
  OCR2B = OCR_B;
  TCCR2A = COM_A << 6 | COM_B << 4 | (WGM & 3);
  TCCR2B = (WGM >> 2 & 1) << WGM22 | CS;
#endif
#ifdef SECOND_OCR_A
  // At the second BOTTOM; taken over at the next TOP (phase correct) or BOTTOM.
  for (uint8_t turn = 0; turn < 2; ++turn) {
    while (!(TIFR1 & _BV(TOV1))) {
    }
    TIFR1 = _BV(TOV1);
  }
  OCR1A = SECOND_OCR_A;
#endif
  for (;;) {
  }
}
