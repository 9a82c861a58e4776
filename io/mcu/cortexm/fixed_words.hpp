// Words that the maker has written: identity, size of the flash. Stores come to nothing.
//
// Source RM0090, 39 (device electronic signature). RT: safe.
#pragma once

#include <span>

#include "io/mcu/cortexm/kept_registers.hpp"

namespace stillrotor::io::cortexm {

class FixedWords final : public Peripheral {
 public:
  /// rows outlive this; their reset values are what is read.
  explicit FixedWords(std::span<const RegisterRow> rows) : rows_(rows) {}
  Word read(Word offset, Cycle) noexcept override {
    for (const RegisterRow& row : rows_)
      if (row.offset == offset) return row.reset;
    return ~Word{0};
  }
  void write(Word, Word, Word, Cycle) noexcept override {}

 private:
  std::span<const RegisterRow> rows_;
};

}  // namespace stillrotor::io::cortexm
