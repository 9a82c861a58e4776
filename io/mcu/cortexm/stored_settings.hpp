// Settings of firmware that keeps them in flash.
//
// The firmware declares them as firmware compiled for the host does: an array of `struct
// sr_setting` (io/hostfw/stillrotor_firmware.h), here under the symbol `sr_settings`, whose entries
// point to variables in flash. The array's length is the symbol's.
//
// Errors ConfigError("controller.settings"): a table that cannot be read, a name that is not in it,
//        a value out of its range, one that flash does not hold.
#pragma once

#include "io/firmware_settings.hpp"
#include "io/mcu/cortexm/program.hpp"

namespace stillrotor::io::cortexm {

/// Puts the bench's values over the linked ones, and reads back all that are declared; none
/// declared and none asked for: empty.
std::vector<Setting> store_settings(Program&, const Memories&, const std::vector<SettingChange>&);

}  // namespace stillrotor::io::cortexm
