// Messages on the serial line: 38400 baud, 8 data bits, no parity; a line each.
#pragma once

void words_init(void);
/// Queues a message; a full queue drops what does not fit.
void say(const char* text_in_flash);
