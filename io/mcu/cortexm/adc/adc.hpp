// The three converters with what they share: clock, interrupt, simultaneous modes.
//
// Source RM0090, multi ADC mode; from memory.
// Not    interleaved and alternate-trigger modes: told as not modelled, and the converters stay
//        independent.
// RT     safe.
#pragma once

#include "io/mcu/cortexm/adc/converter.hpp"
#include "io/mcu/cortexm/bus.hpp"

namespace stillrotor::io::cortexm {

class Adc final : public Peripheral, private Converter::Owner {
 public:
  Adc(Scheduler&, AdcListener&);
  void reset(Cycle at) noexcept override;
  /// Processor cycles a clock of the bus they stand at.
  void set_bus_clock(unsigned cycles, Cycle at) noexcept;
  /// A trigger source, by its code in JEXTSEL or EXTSEL, has changed its level.
  void trigger(Group g, unsigned source, bool high, Cycle at) noexcept {
    if (awaits(g, source, high)) start(g, source, high, at);
  }
  /// Somebody listens to that change.
  bool awaits(Group g, unsigned source, bool high) const noexcept {
    return awaited_[g == Group::injected][high] >> source & 1;
  }

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;

 private:
  void begun(unsigned converter, Group, Cycle at) noexcept override;
  void converted(unsigned converter, Cycle at) noexcept override;
  void changed(Cycle at) noexcept override;
  void start(Group, unsigned source, bool high, Cycle at) noexcept;
  void on_event(Cycle at) noexcept;
  void plan() noexcept;
  void configure(Cycle at) noexcept;
  void look_at_sources() noexcept;
  /// Converters that work together in that group: 1, 2 or 3.
  unsigned together(Group) const noexcept;

  Scheduler& scheduler_;
  AdcListener& listener_;
  const unsigned event_;
  std::array<Converter, 3> converters_;
  unsigned bus_cycles_ = 1;
  Word ccr_ = 0, common_data_ = 0;
  bool interrupt_ = false;
  std::array<std::array<unsigned, 2>, 2> awaited_{};  // trigger sources, by group and level
};

}  // namespace stillrotor::io::cortexm
