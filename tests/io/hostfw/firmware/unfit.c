// Shared objects that are no firmware, each for one reason.
#include "io/hostfw/stillrotor_firmware.h"

#if defined(NO_RESET)
static const struct sr_firmware firmware = {.version = SR_FIRMWARE_VERSION, .name = "no reset"};
#else
static const struct sr_firmware firmware = {.version = SR_FIRMWARE_VERSION + 1, .name = "newer"};
#endif

#ifndef NO_TABLE
const struct sr_firmware* sr_firmware_table(void) { return &firmware; }
#else
__attribute__((visibility("default"))) const void* something_else(void) { return &firmware; }
#endif
