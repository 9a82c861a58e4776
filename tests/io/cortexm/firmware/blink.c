/* Starts the clock (168 MHz from a crystal of 8 MHz), says so on USART1 (PA9, 115200 baud), counts
 * its starts in flash, toggles PD12 each 10 ms, tells rising edges of PA0, and keeps a watchdog of
 * 100 ms quiet. HANG: stops doing so after 50 ms. WAIT: waits for a card that nobody answers. */
#include <stdint.h>

#define REG(address) (*(volatile uint32_t*)(address))
#define RCC(offset) REG(0x40023800u + (offset))
#define FLASH(offset) REG(0x40023C00u + (offset))
#define GPIOA(offset) REG(0x40020000u + (offset))
#define GPIOD(offset) REG(0x40020C00u + (offset))
#define USART1(offset) REG(0x40011000u + (offset))
#define EXTI(offset) REG(0x40013C00u + (offset))
#define IWDG(offset) REG(0x40003000u + (offset))
#define SDIO(offset) REG(0x40012C00u + (offset))
#define STARTS ((volatile uint32_t*)0x080E0000u) /* the last sector */

#include "say.h"

static volatile uint32_t milliseconds, presses;

static void start_clock(void) {
  RCC(0x00) |= 1u << 16;
  while (!(RCC(0x00) & 1u << 17)) {
  }
  RCC(0x04) = 8u | 336u << 6 | 1u << 22 | 7u << 24;
  RCC(0x00) |= 1u << 24;
  while (!(RCC(0x00) & 1u << 25)) {
  }
  FLASH(0x00) = 0x705u; /* caches, prefetch, five wait states */
  RCC(0x08) = 5u << 10 | 4u << 13 | 2u;
  while ((RCC(0x08) & 0xcu) != 8u) {
  }
  RCC(0x30) |= 1u | 1u << 3;       /* GPIOA, GPIOD */
  RCC(0x44) |= 1u << 4 | 1u << 11; /* USART1, SDIO */
}

static uint32_t count_start(void) {
  uint32_t n = 0;
  while (STARTS[n] != 0xffffffffu) ++n;
  FLASH(0x04) = 0x45670123u;
  FLASH(0x04) = 0xCDEF89ABu;
  FLASH(0x10) = 0x201u; /* words */
  STARTS[n] = n;
  FLASH(0x10) = 1u << 31;
  return n;
}

void tick(void);
void tick(void) {
  if (++milliseconds % 10u == 0) GPIOD(0x14) ^= 1u << 12;
}
void edge(void);
void edge(void) {
  EXTI(0x14) = 1;
  ++presses;
}

#ifdef WAIT
__attribute__((noinline)) static void wait_for_card(void) {
  while (!(SDIO(0x34) & 1u)) {
  }
}
#endif

int main(void) {
  start_clock();
  GPIOA(0x00) = (GPIOA(0x00) & ~(3u << 18)) | 2u << 18;
  GPIOA(0x24) = 7u << 4;
  GPIOA(0x0c) |= 2u; /* PA0 pulled down */
  GPIOD(0x00) = 1u << 24;
  USART1(0x08) = 729u;
  USART1(0x0c) = 0x200cu;
  say("clock 168000000\n");
  say_number("start ", count_start());
  say(RCC(0x74) & 1u << 29 ? "by watchdog\n" : RCC(0x74) & 1u << 27 ? "by power\n" : "otherwise\n");
  RCC(0x74) = 1u << 24;
  EXTI(0x00) = EXTI(0x08) = 1;
  REG(0xE000E100u) = 1u << 6;
  SDIO(0x00) = 3u;
  IWDG(0x00) = 0x5555u;
  IWDG(0x04) = 0;
  IWDG(0x08) = 799u;
  IWDG(0x00) = 0xCCCCu;
#ifdef WAIT
  wait_for_card();
#endif
  REG(0xE000E014u) = 168000u - 1u;
  REG(0xE000E018u) = 0;
  REG(0xE000E010u) = 7u;
  for (uint32_t told = 0;;) {
    __asm volatile("wfi");
#ifdef HANG
    if (milliseconds < 50u)
#endif
      IWDG(0x00) = 0xAAAAu;
    if (presses != told) say_number("press ", told = presses);
  }
}
