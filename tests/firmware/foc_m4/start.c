// Start-up: stack and vectors, floating-point access, initialised data, then main().
#include <stdint.h>

#include "chip.h"

extern uint32_t data_begin[], data_end[], data_stored[], bss_begin[], bss_end[], stack_top[];
int main(void);
void start(void);
void control_period(void);

/// Nothing to do but to let the watchdog bite.
static void fault(void) {
  for (;;) {
  }
}

void start(void) {
  SCB_CPACR = 0xFu << 20;
  __asm volatile("dsb; isb");
  for (uint32_t *to = data_begin, *from = data_stored; to < data_end;) *to++ = *from++;
  for (uint32_t* to = bss_begin; to < bss_end;) *to++ = 0;
  main();
  fault();
}

typedef void (*vector)(void);
__attribute__((section(".vectors"), used)) static const vector vectors[16 + 82] = {
    (vector)stack_top,
    start,
    fault,
    fault,
    fault,
    fault,
    fault,
    0,
    0,
    0,
    0,
    fault,
    fault,
    0,
    fault,
    fault,
    [16 + ADC_INTERRUPT] = control_period,
};
