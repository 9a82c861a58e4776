#include "text.h"

#include <stddef.h>
#include <stdint.h>

static char line[256];
static unsigned end;

static void put(char c) {
  if (end + 1 < sizeof line) line[end++] = c;
  line[end] = '\0';
}

static void put_whole(uint32_t value) {
  if (value > 9) put_whole(value / 10);
  put((char)('0' + value % 10));
}

void text_clear(void) { end = 0; }

void text_word(const char* word) {
  while (*word) put(*word++);
}

void text_number(const char* before, float value, const char* behind) {
  text_word(before);
  if (value < 0.0f) {
    put('-');
    value = -value;
  }
  const uint32_t tenths = (uint32_t)(10.0f * value + 0.5f);
  put_whole(tenths / 10);
  put('.');
  put((char)('0' + tenths % 10));
  text_word(behind);
}

const char* text_said(void) { return end > 0 ? line : NULL; }
