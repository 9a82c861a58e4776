// One converter: a regular and an injected sequence, each conversion with its sampling window.
//
// The input is taken at the end of the window; the code is there after one clock a bit more. A
// trigger starts the regular sequence 1 to 2 converter clocks later, the injected one 2 to 3 (the
// datasheet's t_lat and t_latr are at most 2 and 3). An injected sequence breaks into a regular
// conversion, which is done again afterwards.
//
// Source RM0090, analog-to-digital converter; STM32F405 datasheet, ADC characteristics; from
// memory. Not    the 3 us that a converter needs after ADON; noise and errors of the converter
// itself. RT     safe.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "io/mcu/cortexm/adc/registers.hpp"
#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

/// Who is asked and told, each at its cycle.
class AdcListener {
 public:
  virtual ~AdcListener() = default;
  /// The code at an input, 0 to 4095.
  virtual unsigned sample(unsigned converter, unsigned channel, Cycle) noexcept = 0;
  /// The one interrupt of all converters.
  virtual void interrupt(bool high, Cycle) noexcept = 0;
  /// For DMA. True: that was the last of the transfers.
  virtual bool request(unsigned converter, Cycle) noexcept = 0;
  virtual void not_modelled(const char* what, Cycle) noexcept = 0;
  /// Other trigger sources may be awaited than before.
  virtual void sources_changed() noexcept {}
};

enum class Group : std::uint8_t { regular, injected };

class Converter {
 public:
  /// Told when a sequence begins, so that others can begin with it; and when flags or data change.
  class Owner {
   public:
    virtual ~Owner() = default;
    virtual void begun(unsigned converter, Group, Cycle) noexcept = 0;
    virtual void converted(unsigned converter, Cycle) noexcept = 0;
    virtual void changed(Cycle) noexcept = 0;
  };
  Converter(unsigned index, AdcListener&, Owner&);

  void reset() noexcept;
  /// Processor cycles a converter clock.
  void set_clock(unsigned cycles, Cycle at) noexcept {
    disturb(at);
    cycles_ = cycles;
  }
  /// When it does something by itself that anybody would notice; its owner then calls run_due().
  Cycle next() const noexcept { return due_; }
  void run_due(Cycle at) noexcept;
  /// Its own triggers and starts count; false: those of another, by begin().
  void set_independent(Group g, bool on) noexcept { independent_[index(g)] = on; }

  Word read(Word offset, Cycle at) noexcept;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept;
  /// A trigger source has changed its level.
  void trigger(Group, unsigned source, bool high, Cycle at) noexcept;
  void begin(Group, Cycle at) noexcept;

  /// The trigger source whose change to that level starts that group, as a bit.
  unsigned awaited(Group, bool high) const noexcept;
  bool interrupt() const noexcept { return (sr_ & interrupting_) != 0; }
  Word status() const noexcept { return sr_; }
  std::uint16_t data() const noexcept { return static_cast<std::uint16_t>(data_); }
  /// Somebody else (the common data register) has read the data.
  void data_taken(Cycle at) noexcept;
  void data_lost(Cycle at) noexcept;
  /// Its data goes out by the common register, not by itself.
  void set_common_requests(bool on) noexcept { common_requests_ = on; }

 private:
  static constexpr unsigned index(Group g) noexcept { return g == Group::injected; }
  unsigned length(Group) const noexcept;
  unsigned channel(Group, unsigned place) const noexcept;
  Cycle sampling(unsigned channel) const noexcept;
  void start(Group, Cycle at) noexcept;
  void start_conversion(Cycle at) noexcept;
  /// What nobody was told of.
  void catch_up(Cycle to) noexcept {
    if (finishes_ <= to && finishes_ < due_) finish(finishes_);
  }
  void disturb(Cycle at) noexcept;
  bool goes_on_unnoticed() const noexcept;
  void finish(Cycle at) noexcept;
  void finish_regular(unsigned code, Cycle at) noexcept;
  void finish_injected(unsigned code, Cycle at) noexcept;
  void sequence_over(Group, Cycle at) noexcept;
  void watch(unsigned channel, unsigned code, Group) noexcept;
  unsigned edges(Group) const noexcept;
  unsigned source(Group) const noexcept;

  const unsigned index_;
  AdcListener& listener_;
  Owner& owner_;
  unsigned cycles_ = 4;

  Word interrupting_ = 0;  // flags that interrupt, by CR1
  Word sr_ = 0, cr1_ = 0, cr2_ = 0, htr_ = 0xfff, ltr_ = 0, jsqr_ = 0;
  std::array<Word, 2> smpr_{};
  std::array<Word, 3> sqr_{};
  std::array<Word, 4> jofr_{}, jdr_{};
  Word data_ = 0;
  bool unread_ = false;
  std::array<bool, 2> independent_{true, true};
  bool common_requests_ = false, requests_over_ = false;

  std::optional<Group> busy_;
  Cycle due_ = never;
  Cycle finishes_ = never;           // the window is over, and the code will be there
  unsigned channel_ = 0, code_ = 0;  // of the conversion under way
  std::array<unsigned, 2> place_{};  // in the sequence, by group
  std::array<unsigned, 2> left_{};   // of this start, in discontinuous mode
  bool regular_waits_ = false;       // broken into
};

}  // namespace stillrotor::io::cortexm
