// DWT: the cycle counter, which firmware times itself by (DDI 0403E, C1.8). Comparators and the
// other counters are not there: they keep what is written and do nothing. RT     safe.
#pragma once

#include "io/mcu/cortexm/bus.hpp"

namespace stillrotor::io::cortexm {

class CycleCounter final : public Peripheral {
 public:
  Word read(Word offset, Cycle at) noexcept override {
    if (offset == control_register) return control_ | 0x40000000;  // four comparators
    return offset == count_register ? count(at) : 0;
  }
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override {
    if (offset == control_register) {
      const Word now = count(at);
      control_ = (control_ & ~mask) | (value & 1);
      set(now, at);
    } else if (offset == count_register) {
      set((count(at) & ~mask) | value, at);
    }
  }
  bool privileged_only() const noexcept override { return true; }
  void reset() noexcept { control_ = from_ = 0; }

 private:
  static constexpr Word control_register = 0, count_register = 4;
  Word count(Cycle at) const noexcept {
    return control_ & 1 ? from_ + static_cast<Word>(at - since_) : from_;
  }
  void set(Word count, Cycle at) noexcept {
    from_ = count;
    since_ = at;
  }
  Word control_ = 0, from_ = 0;
  Cycle since_ = 0;
};

}  // namespace stillrotor::io::cortexm
