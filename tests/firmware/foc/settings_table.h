// The settings by the names that a bench uses: on the host the firmware's table shows them, in a
// chip's flash they are found by the symbol's name (io/mcu/cortexm/stored_settings.hpp).
#pragma once

#include "io/hostfw/stillrotor_firmware.h"

enum { SETTING_COUNT = 15 };
extern const struct sr_setting sr_settings[SETTING_COUNT];
