// Lines of text that are put together from words and numbers.
#pragma once

void text_clear(void);
void text_word(const char*);
/// The words before it, the value to a tenth, the words behind it.
void text_number(const char* before, float value, const char* behind);
/// NULL: nothing since text_clear(). Stays until then.
const char* text_said(void);
