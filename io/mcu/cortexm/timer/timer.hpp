// Advanced, general and basic timers: counter, compare and capture, complementary outputs with dead
// time and break, encoder and Hall inputs, triggers in and out. All exact to the timer's clock.
//
// The timer moves from event to event (a compare value, a boundary, an output after its dead time,
// an input behind its filter). While nothing outside would notice, it moves only when a register is
// looked at.
//
// A tick at which the count arrives somewhere does, in this order: count and direction; the update,
// with what is preloaded; compare flags; OCREF; outputs; requests.
//
// Source RM0090 (STM32F405 reference manual), chapters on TIM1 and TIM8, TIM2 to TIM5, TIM6 and
// TIM7;
//        from memory where no section is named.
// Not    the clocks that synchronise inputs, triggers and outputs (some 2 to 5 each); OCxCE and
// OCxFE;
//        a compare value written equal to the count matches only when the count arrives there
//        again.
// RT     safe; nothing allocates after construction.
#pragma once

#include <array>
#include <cstdint>

#include "io/mcu/cortexm/bus.hpp"
#include "io/mcu/cortexm/scheduler.hpp"
#include "io/mcu/cortexm/timer/count.hpp"
#include "io/mcu/cortexm/timer/input_filter.hpp"
#include "io/mcu/cortexm/timer/output_stage.hpp"

namespace stillrotor::io::cortexm {

struct TimerLayout {
  std::uint8_t number = 1;
  std::uint8_t channels = 4;  // 0: a basic timer
  bool wide = false;          // 32 bits
  bool advanced = false;      // repetition counter, complementary outputs, break
  bool both_ways = true;      // counts down and centred, follows encoders
};

enum class TimerInterrupt : std::uint8_t { all, stop, update, trigger, compare };
enum class TimerRequest : std::uint8_t {
  update,
  channel1,
  channel2,
  channel3,
  channel4,
  com,
  trigger
};

/// Who is told what a timer does, each at its cycle.
class TimerListener {
 public:
  virtual ~TimerListener() = default;
  virtual void pad(unsigned channel, bool complementary, Level, Cycle) noexcept = 0;
  /// The line's level has changed. Timers that are not advanced have one, `all`.
  virtual void interrupt(TimerInterrupt, bool high, Cycle) noexcept = 0;
  virtual void request(TimerRequest, Cycle) noexcept = 0;
  /// TRGO. A pulse is a change to high and one to low in the same cycle.
  virtual void trigger(bool high, Cycle) noexcept = 0;
  /// OCx behind its enable and polarity, which is what converters are triggered by.
  virtual void channel_signal(unsigned channel, bool high, Cycle) noexcept = 0;
  /// Whether it has to be told of its channels' pins; with set_pin() for each where it has to
  /// again.
  virtual void needs_pins(bool) noexcept {}
  /// Before a register is looked at, of a timer whose pins are heard late.
  virtual void looked_at(Cycle) noexcept {}
  /// Before a register changes that says what comes of its pins' edges.
  virtual void changes(Cycle) noexcept {}
  /// A bit has been set that does nothing here.
  virtual void not_modelled(const char* what, Cycle) noexcept = 0;
};

class Timer final : public Peripheral {
 public:
  Timer(const TimerLayout&, Scheduler&, TimerListener&);
  const TimerLayout& layout() const noexcept { return layout_; }
  Pads pads(unsigned channel) const noexcept { return outputs_[channel].pads; }

  void reset(Cycle at) noexcept override;
  /// Processor cycles a clock of the timer; 0: its clock is off.
  void set_clock(unsigned cycles, Cycle at) noexcept;

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;

  /// The pin of that channel, 0 to 3.
  void input(unsigned channel, bool high, Cycle at) noexcept;
  /// Only of those channels from now on, a bit each.
  void tell_signals(unsigned channels) noexcept;
  bool needs_pins() const noexcept { return needs_pins_; }
  /// An edge of its channels' pins does nothing that anybody notices before a register is read.
  bool keeps_edges() const noexcept;
  /// Edges of its channels' pins may be on their way: TimerListener::looked_at().
  void hear_late(bool late) noexcept { late_ = late; }
  /// Its level, as it has been for long.
  void set_pin(unsigned channel, bool high) noexcept {
    pins_[channel] = high;
    inputs_[channel].set(high);
  }
  void external_trigger(bool high, Cycle at) noexcept;
  /// TRGO of the timer that stands at ITRn.
  void internal_trigger(unsigned n, bool high, Cycle at) noexcept;
  /// The break input's level.
  void break_input(bool high, Cycle at) noexcept;

 private:
  static constexpr unsigned external = 4;  // among the inputs, behind the channels
  static constexpr unsigned internal_sources = 4, edge_detector = 4, input1 = 5, input2 = 6,
                            trigger_pin = 7;  // TS

  enum class Role : std::uint8_t { output, direct, indirect, trigger };  // CCxS
  struct Channel {
    Role role = Role::output;
    std::uint8_t mode = 0, mode_written = 0;  // OCxM
    bool preloaded = false;                   // OCxPE
    Word written = 0;                         // CCRx as the firmware sees it
    bool enabled = false, enabled_n = false;  // behind CCPC
    std::uint8_t edges = 0, every = 1, filter = 0;
  };
  struct alignas(64) Output {
    OutputStage stage;
    Pads pads = nothing_driven;  // as told
    bool signal = false;         // likewise
  };
  using Channels = unsigned;  // a bit for each
  /// What the modes say, channel by channel.
  struct Modes {
    Channels outputs = 0xf, by_match = 0, pwm = 0, pwm2 = 0, forced_on = 0, forced_off = 0;
  };

  // timer.cpp: time
  Cycle period() const noexcept { return Cycle{prescaler_ + 1} * cycles_; }
  bool ticks() const noexcept;
  bool clocked_by_trigger() const noexcept;
  bool watched() const noexcept;
  Count::Ticks ticks_in(Cycle span) const noexcept {
    return period() == 1 ? span : span / period();
  }
  void lay_course() noexcept;
  void run_due(Cycle to) noexcept;
  void advance(Cycle to) noexcept;
  void happen(Cycle at) noexcept;
  void meet(Channels, Cycle at) noexcept;
  /// Something is changed at that cycle, after all that was due by then; what comes next is found
  /// out behind it.
  class Change {
   public:
    Change(Timer& timer, Cycle at) noexcept : timer_(timer) {
      timer_.advance(at);
      timer_.due_ = unknown;
      ++timer_.under_way_;
    }
    ~Change() {
      --timer_.under_way_;
      timer_.schedule();
    }
    Change(const Change&) = delete;
    Change& operator=(const Change&) = delete;

   private:
    Timer& timer_;
  };
  void count_on(Cycle to) noexcept;
  void count(Count::Ticks, Cycle at) noexcept;
  void schedule() noexcept;
  void plan() noexcept;
  void on_event(Cycle at) noexcept { run_due(at); }
  void start_counting(Cycle at) noexcept;
  void boundary(Boundary, Cycle at) noexcept;
  void update(bool by_count, Cycle at) noexcept;
  void restart(Cycle at) noexcept;
  void compare(Boundary, Cycle at) noexcept;
  template <class Condition>
  Channels outputs_where(Condition) const noexcept;
  void sort_modes() noexcept;
  void start_pwm(unsigned channel, unsigned mode) noexcept;
  bool flags_compares(bool down) const noexcept;
  bool tells_compares() const noexcept;
  void refresh(Cycle at) noexcept;
  void follow_comparison(Channels, Channels below) noexcept;
  void show_reference(Cycle at) noexcept;
  void settle_outputs(Cycle at) noexcept;
  void settle_inputs(Cycle at) noexcept;
  void settle_output(unsigned channel, Cycle at) noexcept;
  void tell_pads(unsigned channel, Pads, Cycle at) noexcept;
  OutputSettings settings(unsigned channel) const noexcept;
  void raise(Word event, Cycle at) noexcept;
  void show_interrupts(Cycle at) noexcept;
  void pulse(Cycle at) noexcept;
  void stop_outputs(Cycle at) noexcept;
  void commutate(Cycle at) noexcept;

  // timer_input.cpp: what comes in
  bool direction_inverted(unsigned channel) const noexcept;
  Cycle delay_of(unsigned input) const noexcept;
  void feed_first_input(Cycle at) noexcept;
  bool source_level(unsigned source) const noexcept;
  void listen() noexcept;
  void look_at_filters() noexcept;
  void settle_input(unsigned input, Cycle at) noexcept;
  void edge(unsigned input, bool high, Cycle at) noexcept;
  void encode(unsigned input, Cycle at) noexcept;
  void capture(unsigned channel, bool high, Cycle at) noexcept;
  void trigger_source(unsigned source, bool high, Cycle at) noexcept;
  void triggered(bool high, Cycle at) noexcept;

  // timer_registers.cpp
  bool preloads(unsigned channel) const noexcept {
    return channels_[channel].role == Role::output && channels_[channel].preloaded;
  }
  void write_modes(unsigned first, Word value) noexcept;
  void write_enables(Word value) noexcept;
  void write_compare(unsigned channel, Word value) noexcept;
  void generate(Word events, Cycle at) noexcept;
  void write_break(Word value, Cycle at) noexcept;
  Word burst_target() noexcept;
  Word& plain(Word offset) noexcept;
  Word implemented(Word offset) const noexcept;

  const TimerLayout layout_;
  Scheduler& scheduler_;
  TimerListener& listener_;
  const unsigned event_;
  unsigned cycles_ = 0;

  Word cr1_ = 0, cr2_ = 0, smcr_ = 0, dier_ = 0, sr_ = 0, ccer_ = 0, bdtr_ = 0, dcr_ = 0, or_ = 0;
  std::array<Word, 2> ccmr_{};
  Word psc_ = 0, arr_ = 0, rcr_ = 0;  // as written
  Word prescaler_ = 0, repetitions_ = 0;
  Count count_;
  Cycle last_tick_ = 0;
  static constexpr Cycle unknown = 0;
  /// When the count comes to the compare values of which channels; none: to the boundary.
  struct Moment {
    Cycle at;
    Channels met;
  };
  std::array<Moment, 5> course_{};  // up to the boundary
  unsigned moment_ = 0;             // the next one of it
  bool watched_ = false;
  Cycle stages_due_ = never;   // an output changes by itself
  Cycle filters_due_ = never;  // an input's filter lets an edge through
  Cycle due_ = unknown;        // nothing happens by itself before it
  unsigned under_way_ = 0;     // events and changes, each within the one before
  std::array<Channel, 4> channels_;
  std::array<Output, 4> outputs_;
  std::array<Cycle, 4> stage_due_{never, never, never, never};
  std::array<Word, 4> compare_{};  // CCRx as it is compared
  Modes modes_;
  Channels below_ = 0, reference_ = 0;  // the comparison; OCxREF
  Channels staged_ = 0;                 // OCxREF as the stages know it
  Channels signals_told_ = ~0u;
  std::array<InputFilter, 5> inputs_;
  std::array<bool, 4> pins_{}, internal_{};
  std::array<bool, 5> lines_{};  // of interrupts, as told ...
  Word shown_ = 0;               // ... by these flags
  bool trigger_in_ = false, trigger_out_ = false, break_ = false;
  bool hears_ = false;  // its channels' pins have a delay, or anybody to notice them
  bool needs_pins_ = true;
  bool late_ = false;
  bool set_anew_ = true;  // the stages' settings may differ from the registers
  Word burst_ = 0;
};

}  // namespace stillrotor::io::cortexm
