// The analog comparator: exact in time, and the future asked only for a flag that somebody awaits.
//
// Inputs  plus: AIN0, or the bandgap reference (ACBG). minus: AIN1, or the ADC's multiplexer while
//         ACME is set and ADEN is not. An input without a channel reads 0 V.
// Output  ACO is the comparison at the instant at which an instruction reads it; within the
//         hysteresis it stays what it was when last looked at.
// Flag    ACI rises at the second clock edge from a crossing on that ACIS asks for; a pulse between
//         clock edges is not seen. It is awaited while ACIE is set, and, once the firmware has
//         cleared it by a one, until it rises. Then the world says when the comparison next changes
//         (World::crossing), asked for 50 us at a time: nothing is sampled. At other times it rises
//         when ACSR is next looked at, if the output is another than before: two crossings between
//         two looks are not seen.
// Capture with ACIC the output takes the place of Timer1's capture pin, through the same
// synchroniser
//         and edge detector; pulses shorter than three cycles are not seen. The world is asked as
//         for an awaited flag.
// Source  ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Analog Comparator (bits, multiplexed input,
//         1 to 2 clock cycles of synchronisation: of the output from its crossing to the end of
//         IN); typed from memory, as the bandgap's voltage.
// Not     offset and propagation delay (under 1 us in the datasheet); writing ACIS alone sets
//         no flag; the reference needs no time to start.
// RT      nothing here allocates after construction.
#pragma once

#include <optional>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

class Timer;

class Comparator {
 public:
  Comparator(const Part&, Core&, Interrupts&, Outside&, const AnalogInputs&, double hysteresis_V);
  /// The timer whose input capture it can feed.
  void connect(Timer* timer) noexcept { timer_ = timer; }
  void reset() noexcept;
  /// The part may run to that time; until then the world moves by itself alone, or by this part's
  /// edges, after which it is told a new stretch.
  void begin_stretch(Time until) noexcept;
  /// The multiplexer, ADEN or ACME has been written.
  void inputs_changed(Cycle at) noexcept;

 private:
  void write_control(const Write&) noexcept;
  std::uint8_t read_control(Address, Cycle) noexcept;
  bool is_on() const noexcept;
  bool captures() const noexcept;
  bool is_followed() const noexcept;
  Comparison comparison() const noexcept;
  Potential input(unsigned index) const noexcept;
  bool compare(Cycle at) noexcept;
  void settle(Cycle at) noexcept;
  void raise_flag() noexcept;
  void take_back(Time to) noexcept;
  void look() noexcept;
  void on_flip(Cycle) noexcept;
  void on_asked_out(Cycle) noexcept { look(); }
  void on_capture(Cycle) noexcept;

  const ComparatorLayout& layout_;
  const ConverterLayout& converter_;
  Core& core_;
  Interrupts& interrupts_;
  Outside& outside_;
  AnalogInputs channels_;
  double hysteresis_V_;
  Interrupts::Vector vector_;

  Timer* timer_ = nullptr;
  bool looked_at_ = false;        // above_ means something
  bool above_ = false;            // plus above minus, when last looked at, or as ACI has it
  bool cleared_ = false;          // the firmware has cleared ACI by a one
  std::optional<Time> flip_;      // the crossing on its way through the synchroniser
  Time known_{};                  // no other crossing before this
  Time until_{};                  // end of the stretch
  std::uint64_t edges_told_ = 0;  // when known_ was found
};

}  // namespace stillrotor::io::mcu
