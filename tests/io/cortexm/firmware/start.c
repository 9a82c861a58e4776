/* Start-up: stack and vectors, floating-point access, initialised data, then main(). */
#include <stdint.h>

extern uint32_t data_begin[], data_end[], data_stored[], bss_begin[], bss_end[], stack_top[];
int main(void);

void start(void);
void stay(void);
void stay(void) {
  for (;;) {
  }
}
void tick(void) __attribute__((weak, alias("stay")));
void edge(void) __attribute__((weak, alias("stay")));

void start(void) {
  *(volatile uint32_t*)0xE000ED88u = 0xFu << 20; /* CPACR */
  __asm volatile("dsb; isb");
  for (uint32_t *to = data_begin, *from = data_stored; to < data_end;) *to++ = *from++;
  for (uint32_t* to = bss_begin; to < bss_end;) *to++ = 0;
  main();
  stay();
}

typedef void (*vector)(void);
__attribute__((section(".vectors"), used)) static const vector vectors[16 + 82] = {
    (vector)stack_top, start, stay, stay, stay, stay, stay, 0, 0, 0, 0, stay, stay, 0, stay, tick,
    [16 + 6] = edge, /* EXTI0 */
};
