// CRC: the polynomial 0x04C11DB7 over whole words, most significant bit first.
//
// Source RM0090, 4. A word takes four bus cycles, for which the bus would wait: not counted here.
//        A narrower store counts as a word whose other bytes are 0 (not stated there).
// RT     safe.
#pragma once

#include "io/mcu/cortexm/bus.hpp"

namespace stillrotor::io::cortexm {

class CrcUnit final : public Peripheral {
 public:
  Word read(Word offset, Cycle) noexcept override {
    return offset == DR ? sum_ : offset == IDR ? kept_ : 0;
  }
  void write(Word offset, Word value, Word, Cycle) noexcept override {
    if (offset == DR) add(value);
    if (offset == IDR) kept_ = value & 0xff;
    if (offset == CR && (value & 1)) sum_ = start;  // IDR stays
  }
  void reset(Cycle) noexcept override {
    sum_ = start;
    kept_ = 0;
  }

 private:
  enum : Word { DR = 0, IDR = 4, CR = 8 };
  static constexpr Word start = 0xffffffff, polynomial = 0x04C11DB7;
  void add(Word word) noexcept {
    sum_ ^= word;
    for (int bit = 0; bit < 32; ++bit) sum_ = sum_ << 1 ^ (sum_ >> 31 ? polynomial : 0);
  }
  Word sum_ = start, kept_ = 0;
};

}  // namespace stillrotor::io::cortexm
