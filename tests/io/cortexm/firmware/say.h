/* Lines at USART1, byte by byte; its registers are USART1(offset) of whoever includes this. */
#pragma once

#include <stdint.h>

static void say(const char* text) {
  for (; *text; ++text) {
    while (!(USART1(0x00) & 0x80u)) {
    }
    USART1(0x04) = (uint32_t)*text;
  }
}
static void say_number(const char* name, uint32_t value) {
  char digits[12], *at = digits + sizeof digits - 2;
  at[0] = '\n';
  at[1] = 0;
  do *--at = (char)('0' + value % 10u);
  while ((value /= 10u) != 0);
  say(name);
  say(at);
}
