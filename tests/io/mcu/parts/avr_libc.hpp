// Lets a header of avr-libc for one part be read on this computer: registers become their addresses
// in data space, vectors their numbers. Include after everything else: its names are macros.
#pragma once

#define _AVR_IO_H_ 1
#define _SFR_IO8(address) (0x20 + (address))
#define _SFR_IO16(address) (0x20 + (address))
#define _SFR_MEM8(address) (address)
#define _SFR_MEM16(address) (address)
#define _VECTOR(number) (number)
