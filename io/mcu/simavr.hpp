// simavr's C headers as C++ sees them.
#pragma once

extern "C" {
#include <simavr/sim_avr.h>
// sim_core.h needs sim_avr.h before it.
#include <simavr/avr_eeprom.h>
#include <simavr/avr_watchdog.h>
#include <simavr/sim_core.h>
}
