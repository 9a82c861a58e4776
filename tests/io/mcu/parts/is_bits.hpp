// Entries of the table against registers and bits by name.
#pragma once

#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

inline bool is_bits(Bits bits, int at, int mask) { return bits.at == at && bits.mask == mask; }

inline bool is_channel(const CompareLayout& channel, int compare, int mode, int shift, int force,
                       int force_mask, unsigned vector) {
  return channel.compare == compare && channel.mode == mode && channel.mode_shift == shift &&
         is_bits(channel.force, force, force_mask) && channel.vector == vector;
}

}  // namespace stillrotor::io::mcu
