// The analog comparator: exact in time, and looked at only once the firmware does.
//
// Inputs  plus: AIN0, or the 1.1 V reference (ACBG). minus: AIN1, or the ADC's multiplexer while
//         ACME is set and ADEN is not. An input without a channel reads 0 V.
// Output  ACO follows with the synchroniser's delay: the second clock edge after the crossing.
//         ACI rises with it, on the edges that ACIS asks for. A pulse between clock edges is not seen.
// Lazy    the world says when the comparison next changes (World::crossing), so nothing is sampled;
//         before the firmware first reads ACSR or enables the interrupt, nothing is asked. Flags of
//         that time are not kept.
// Source  ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Analog Comparator (bits, multiplexed input,
//         1 to 2 clock cycles of synchronisation); typed from memory, as the part's 1.1 V.
// Not     offset, hysteresis and propagation delay (under 1 us in the datasheet); input capture
//         (ACIC) is refused; writing ACIS alone sets no flag; the reference needs no time to start.
// RT      nothing here allocates after construction, but the sentence of a refusal.
#pragma once

#include <array>
#include <optional>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/pin_names.hpp"

namespace stillrotor::io::mcu {

class Comparator {
 public:
  Comparator(Core&, Interrupts&, Outside&, const AnalogInputs&);
  void reset(Cycle at) noexcept;
  /// The part may run to that time; until then the world moves by itself alone, or by this part's
  /// edges, after which it is told a new stretch.
  void begin_stretch(Time until) noexcept;
  /// The multiplexer, ADEN or ACME has been written.
  void inputs_changed(Cycle at) noexcept;

 private:
  void write_control(const Write&) noexcept;
  std::uint8_t read_control(Address, Cycle) noexcept;
  bool is_on() const noexcept;
  Comparison comparison() const noexcept;
  Potential input(unsigned index) const noexcept;
  void follow(Cycle at) noexcept;
  void take_back(Time to) noexcept;
  void look() noexcept;
  void on_flip(Cycle) noexcept;

  Core& core_;
  Interrupts& interrupts_;
  Outside& outside_;
  AnalogInputs channels_;
  Interrupts::Vector vector_;

  bool followed_ = false;         // the firmware takes an interest
  bool above_ = false;            // plus above minus, and ACO behind the synchroniser
  std::optional<Time> flip_;      // the crossing on its way through the synchroniser
  Time known_{};                  // no other crossing before this
  Time until_{};                  // end of the stretch
  std::uint64_t edges_told_ = 0;  // when known_ was found
};

}  // namespace stillrotor::io::mcu
