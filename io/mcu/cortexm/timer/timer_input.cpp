// What comes into a timer: pins behind their filters, triggers, encoder and Hall signals.
#include <utility>

#include "io/mcu/cortexm/timer/registers.hpp"
#include "io/mcu/cortexm/timer/timer.hpp"

namespace stillrotor::io::cortexm {

using namespace timer_register;

bool Timer::direction_inverted(unsigned channel) const noexcept {
  return ccer_ >> (4 * channel + 1) & 1;  // CCxP
}

Cycle Timer::delay_of(unsigned input) const noexcept {
  const unsigned setting = input == external ? smcr::ETF(smcr_) : channels_[input].filter;
  return filter_delay(setting, Cycle{1} << cr1::CKD(cr1_)) * cycles_;
}

/// After any change of what it may listen to.
void Timer::listen() noexcept {
  hears_ = smcr::SMS(smcr_) != 0 || smcr::TS(smcr_) >= edge_detector || (cr2_ & cr2::TI1S) ||
           modes_.outputs != (1u << layout_.channels) - 1;
  const bool needs = hears_ || filters_due_ != never;
  if (needs != std::exchange(needs_pins_, needs)) listener_.needs_pins(needs);
}

bool Timer::keeps_edges() const noexcept {
  if (dier_ != 0 || cr2::MMS(cr2_) != 0) return false;
  for (unsigned i = 0; i < layout_.channels; ++i)
    if (channels_[i].role == Role::output && (channels_[i].enabled || channels_[i].enabled_n))
      return false;
  return true;
}

void Timer::input(unsigned channel, bool high, Cycle at) noexcept {
  if (pins_[channel] == high) return;
  if (!hears_ && inputs_[channel].next() == never) {
    set_pin(channel, high);
    return;
  }
  {
    const Change change(*this, at);
    pins_[channel] = high;
    if (channel != 0) inputs_[channel].pin(high, at, delay_of(channel));
    feed_first_input(at);
  }
  advance(at);
}

/// TI1 is its own pin, or all three: one edge for each of a Hall sensor's.
void Timer::feed_first_input(Cycle at) noexcept {
  const bool level = cr2_ & cr2::TI1S ? pins_[0] != (pins_[1] != pins_[2]) : pins_[0];
  inputs_[0].pin(level, at, delay_of(0));
  look_at_filters();
}

void Timer::look_at_filters() noexcept {
  filters_due_ = never;
  for (const InputFilter& input : inputs_) filters_due_ = std::min(filters_due_, input.next());
}

/// Of a source of TRGI, as it stands.
bool Timer::source_level(unsigned source) const noexcept {
  if (source < internal_sources) return internal_[source];
  if (source == input1) return inputs_[0].level() != direction_inverted(0);
  if (source == input2) return inputs_[1].level() != direction_inverted(1);
  if (source == trigger_pin) return inputs_[external].level() != bool(smcr_ & smcr::ETP);
  return false;
}

void Timer::external_trigger(bool high, Cycle at) noexcept {
  {
    const Change change(*this, at);
    inputs_[external].pin(high, at, delay_of(external));
    look_at_filters();
  }
  advance(at);
}

void Timer::internal_trigger(unsigned n, bool high, Cycle at) noexcept {
  if (internal_[n] == high) return;
  const Change change(*this, at);
  internal_[n] = high;
  trigger_source(n, high, at);
  refresh(at);
}

void Timer::settle_inputs(Cycle at) noexcept {
  count_on(at);
  for (unsigned i = 0; i < inputs_.size(); ++i)
    if (inputs_[i].next() == at) settle_input(i, at);
}

void Timer::settle_input(unsigned input, Cycle at) noexcept {
  if (!inputs_[input].settle(at)) return;
  look_at_filters();
  edge(input, inputs_[input].level(), at);
  refresh(at);
}

/// A level behind its filter has changed.
void Timer::edge(unsigned input, bool high, Cycle at) noexcept {
  if (input == external) {
    const bool level = high != bool(smcr_ & smcr::ETP);
    if ((smcr_ & smcr::ECE) && level && (cr1_ & cr1::CEN) && !count_.stands_still()) count(1, at);
    return trigger_source(trigger_pin, level, at);
  }
  const unsigned sibling = input ^ 1;
  if (input < layout_.channels && channels_[input].role == Role::direct) capture(input, high, at);
  if (sibling < layout_.channels && channels_[sibling].role == Role::indirect)
    capture(sibling, high, at);
  const unsigned mode = smcr::SMS(smcr_);
  if (input < 2 && mode >= 1 && mode <= 3) encode(input, at);
  if (input == 0) {
    trigger_source(edge_detector, true, at);
    trigger_source(edge_detector, false, at);
    trigger_source(input1, high != direction_inverted(0), at);
  }
  if (input == 1) trigger_source(input2, high != direction_inverted(1), at);
}

/// Quadrature: TI1 ahead of TI2 counts up. Mode 1 counts edges of TI2, mode 2 those of TI1, mode 3
/// both.
void Timer::encode(unsigned input, Cycle at) noexcept {
  const unsigned mode = smcr::SMS(smcr_);
  if (!(cr1_ & cr1::CEN) || (mode != 3 && (mode == 1) != (input == 1)) || count_.stands_still())
    return;
  const bool a = inputs_[0].level() != direction_inverted(0);
  const bool b = inputs_[1].level() != direction_inverted(1);
  count_.down = input == 0 ? a == b : a != b;
  count(1, at);
}

void Timer::capture(unsigned i, bool high, Cycle at) noexcept {
  Channel& c = channels_[i];
  const unsigned bits = ccer_ >> (4 * i);
  if (!(bits & 1)) return;  // CCxE
  const bool falling = bits & 2, both = (bits & 2) && (bits & 8);
  if (c.role != Role::trigger && !both && high == falling) return;
  if (++c.edges < c.every) return;
  c.edges = 0;
  c.written = compare_[i] = count_.value;
  if (sr_ & flag::CC(i)) sr_ |= flag::CCOF(i);
  if (i == 0 && cr2::MMS(cr2_) == 3) pulse(at);
  raise(flag::CC(i), at);
}

void Timer::trigger_source(unsigned source, bool high, Cycle at) noexcept {
  if (smcr::TS(smcr_) != source) return;
  // TRC: what channels set to it are captured by.
  if (high && source <= edge_detector)
    for (unsigned i = 0; i < layout_.channels; ++i)
      if (channels_[i].role == Role::trigger) capture(i, true, at);
  triggered(high, at);
}

/// TRGI.
void Timer::triggered(bool high, Cycle at) noexcept {
  if (high == trigger_in_) return;
  const unsigned mode = smcr::SMS(smcr_);
  if (mode == 5) {
    raise(flag::T, at);  // gated: at both edges
    trigger_in_ = high;
    if (high) last_tick_ = at;
    return;
  }
  trigger_in_ = high;
  if (!high) return;
  if ((cr2_ & cr2::CCPC) && (cr2_ & cr2::CCUS)) {
    commutate(at);
    raise(flag::COM, at);
  }
  if (mode < 4 && mode != 0) return;
  if (mode != 0) raise(flag::T, at);
  if (mode == 4) {
    restart(at);
    compare(Boundary::none, at);
  } else if (mode == 6 && !(cr1_ & cr1::CEN)) {
    cr1_ |= cr1::CEN;
    start_counting(at);
  } else if (mode == 7 && (cr1_ & cr1::CEN) && !count_.stands_still()) {
    count(1, at);
  }
}

}  // namespace stillrotor::io::cortexm
