#include "drive.h"

volatile drive_t drive = {
    .axis = {{.id = 1, .pid = {{0.5f, 1.5f}, {2.5f, 3.5f}}},
             {.id = 2, .pid = {{4.5f, 5.5f}, {6.5f, 7.5f}}},
             {.id = 3, .pid = {{8.5f, 9.5f}, {10.5f, 11.5f}}}},
    .iq_target = -12.25f,
    .state = RUNS,
    .direction = BACKWARD,
    .enabled = true,
    .energy_J = 1024.5,
    .ticks = 1ull << 40,
    .position = -(1ll << 40),
    .flags = {.armed = 1, .level = 5, .trim = -3, .code = 1500},
    .word = 0x04030201,
    .counter = {.turns = -70000},
    .table = {{10, 11, 12}, {20, 21, 22}},
};
volatile const int8_t* volatile pointer;
volatile float gain = 0.75f;
static volatile uint16_t count = 1001;

static void first(void) {
  static volatile uint8_t step = 11;
  step = step;
}
static void second(void) {
  static volatile uint8_t step = 22, only = 33;
  step = step;
  only = only;
}

int main(void) {
  for (;;) {
    drive.iq_target = drive.iq_target;
    pointer = pointer;
    gain = gain;
    count = count;
    first();
    second();
    other();
  }
}
