// Timer/Counters 0, 1 and 2 with their prescalers and compare outputs, exact to the cycle.
//
// A timer is advanced event by event (match, TOP, BOTTOM) when something watches it, and lazily at
// register accesses when nothing does. Everything that belongs to a count (flags, compare output,
// taking over OCR) happens at the timer clock that leaves that count, as in the datasheet's timing
// diagrams: a match at OCR acts OCR + 1 timer clocks after BOTTOM.
//
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: 8-bit Timer/Counter0 with PWM, 16-bit
//        Timer/Counter1 with PWM, Timer/Counter0 and 1 Prescalers, 8-bit Timer/Counter2.
//        Input capture: the edge of ICP passes the synchroniser and edge detector of an external
//        interrupt, with the noise canceler four cycles more (section Input Capture Unit).
// Not    external clocks (T0, T1, TOSC): refused. Reserved modes: refused. Of the noise canceler,
// its
//        delay, and that a pulse that is over by then is none.
// RT     nothing here allocates after construction, but the sentence of a refusal.
#pragma once

#include <array>
#include <optional>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/parts/part.hpp"
#include "io/mcu/ports.hpp"

namespace stillrotor::io::mcu {

class Adc;

/// Divides the clock for one or two timers. Counts since `origin`; held: by GTCCR.TSM.
struct Prescaler {
  Cycle origin = 0;
  bool held = false;
};

class Timer {
 public:
  Timer(const TimerLayout&, Core&, Interrupts&, Ports&, const Prescaler&);
  void connect(Adc* adc) noexcept { adc_ = adc; }
  const TimerLayout& layout() const noexcept { return layout_; }

  void reset(Cycle at) noexcept;
  /// Everything the timer does up to and including that cycle.
  void advance(Cycle to) noexcept;
  /// After a change of prescaler or power reduction, once advanced to it: registers are read again.
  void reconfigure(Cycle at) noexcept;
  /// Its flags are about to be read at that cycle.
  void settle_flags(Cycle at) noexcept {
    if (at >= next_event_) advance(at);
  }
  /// Its interrupts have been switched, once advanced to that.
  void mask_changed() noexcept { schedule(); }
  Pin capture_pin() const noexcept { return layout_.capture.pin; }
  bool captures_by_interrupt() const noexcept {
    return core_.reg(layout_.mask) & layout_.capture.interrupt;
  }
  /// The pin of the input capture has changed, behind the edge detector.
  void capture_edge(bool high, Cycle at) noexcept {
    if (!compared_) capture(high, at);
  }
  /// The comparator takes the pin's place (ACIC); it stands so. nullopt: the pin is back.
  void capture_from_comparator(std::optional<bool> output) noexcept { compared_ = output; }
  /// Its output has changed, behind the edge detector.
  void comparator_edge(bool high, Cycle at) noexcept {
    compared_ = high;
    capture(high, at);
  }
  /// The ADC starts or stops waiting for this timer.
  void watchers_changed(Cycle at) noexcept {
    advance(at);
    schedule();
  }

 private:
  struct Compare {
    std::uint16_t written = 0;  // OCR as the firmware sees it
    std::uint16_t active = 0;   // OCR as the comparator has it
    std::uint8_t com = 0;
    bool connected = false;  // to the pin
    bool high = false;       // the compare output itself
  };

  void write_control(const Write&) noexcept;
  void write_compare(const Write&) noexcept;
  void write_count(const Write&) noexcept;
  void write_top(const Write&) noexcept;
  void write_temp(const Write&) noexcept;
  std::uint8_t read_count(Address, Cycle) noexcept;
  std::uint8_t read_count_high(Address, Cycle) noexcept;
  std::uint8_t read_top(Address, Cycle) noexcept;

  void decode() noexcept;
  void force(unsigned channel) noexcept;
  bool is_set(Bits bits) const noexcept { return core_.reg(bits.at) & bits.mask; }
  unsigned divisor() const noexcept;
  bool watched() const noexcept;
  void schedule() noexcept;
  void on_event(Cycle) noexcept;
  void capture(bool high, Cycle at) noexcept;
  void on_capture(Cycle) noexcept;

  std::uint32_t top() const noexcept;
  std::uint32_t maximum() const noexcept { return layout_.is_16_bit ? 0xffffu : 0xffu; }
  bool counts_both_ways() const noexcept;
  std::uint32_t ticks_to_event() const noexcept;
  void find_next_event() noexcept;
  void run_to(Cycle to) noexcept;
  void move(std::uint32_t ticks) noexcept;
  void tick(Cycle at) noexcept;
  void tick_one_way(std::array<bool, 2> match, Cycle at) noexcept;
  void tick_both_ways(std::array<bool, 2> match, Cycle at) noexcept;
  void matched(Compare&, bool counting_down) noexcept;
  void take_over_compares() noexcept;
  void flag(unsigned vector, Cycle at) noexcept;
  void show(Cycle at) noexcept;

  const TimerLayout& layout_;
  Core& core_;
  Interrupts& interrupts_;
  Ports& ports_;
  const Prescaler& prescaler_;
  Adc* adc_ = nullptr;

  unsigned channels_;  // that have a compare register

  TimerMode mode_;
  unsigned divisor_ = 0;  // 0: stopped
  std::array<Compare, 2> compares_;
  std::uint16_t top_register_ = 0;  // ICR1
  std::uint8_t temp_ = 0;           // high byte of a 16-bit access in two steps
  std::uint16_t count_ = 0;
  bool down_ = false;
  bool count_was_written_ = false;  // blocks a match at the next timer clock
  Cycle last_tick_ = 0;
  static constexpr Cycle never = ~Cycle{0};
  Cycle next_event_ = never;
  std::optional<bool> compared_;  // the comparator at the input capture, and its output
};

}  // namespace stillrotor::io::mcu
