// The analog-to-digital converter, sampling exactly when the part would.
//
// Start   at the ADC clock edge after ADSC is written; channel and reference are fixed then.
// Sample  1.5 ADC clocks later (first conversion after ADEN: 13.5; auto-triggered: 2 + 3 cycles).
// Ready   13 ADC clocks after the start (25; 13.5 + 3 cycles); in free running the next one starts.
// Value   floor(1024 V / V_ref), clipped to 0..1023. V_ref: AVCC, or the internal one; AREF counts
//         as AVCC.
// Source  ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Analog-to-Digital Converter, Prescaling and
//         Conversion Timing, table ADC Conversion Time.
// Not     a channel without a signal reads 0 V. Triggers by comparator and INT0: refused.
// RT      nothing here allocates after construction, but the sentence of a refusal.
#pragma once

#include <array>
#include <optional>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

class Comparator;  // shares the multiplexer
class Timer;

class Adc {
 public:
  Adc(const ConverterLayout&, Core&, Interrupts&, Outside&, const AnalogInputs&, Comparator&);
  /// The timers whose flags can start a conversion (0 and 1).
  void connect(std::array<Timer*, 2> timers) noexcept { timers_ = timers; }
  void reset() noexcept;

  /// A conversion would start at a flag of that timer.
  bool waits_for(const TimerLayout&) const noexcept;
  /// A timer's flag rises.
  void timer_flag(unsigned vector, Cycle at) noexcept;
  /// The trigger's source has been written.
  void trigger_changed() noexcept;

 private:
  void write_control(const Write&) noexcept;
  void write_multiplexer(const Write&) noexcept;
  std::uint8_t read_low(Address, Cycle) noexcept;
  std::uint8_t read_high(Address, Cycle) noexcept;
  unsigned trigger_source() const noexcept;
  bool auto_triggers() const noexcept;
  unsigned clock_divisor() const noexcept;
  void begin(Cycle at) noexcept;
  void on_start(Cycle) noexcept;
  void on_sample(Cycle) noexcept;
  void on_ready(Cycle) noexcept;
  double input_V(Cycle at) noexcept;
  std::uint16_t presented() const noexcept;

  const ConverterLayout& layout_;
  Core& core_;
  Interrupts& interrupts_;
  Outside& outside_;
  AnalogInputs channels_;
  Comparator& comparator_;
  std::array<Timer*, 2> timers_{};
  Interrupts::Vector vector_;

  Cycle enabled_at_ = 0;
  bool first_ = true;       // after ADEN
  bool triggered_ = false;  // the running conversion was started by a timer
  bool held_ = false;       // ADCL was read: the result stays until ADCH is
  std::uint8_t mux_ = 0;    // ADMUX of the running conversion
  std::uint16_t sampled_ = 0, result_ = 0;
};

}  // namespace stillrotor::io::mcu
