#include "io/mcu/cortexm/adc/adc.hpp"

namespace stillrotor::io::cortexm {

using namespace adc_register;

Adc::Adc(Scheduler& scheduler, AdcListener& listener)
    : scheduler_(scheduler),
      listener_(listener),
      event_(scheduler.make<&Adc::on_event>(this)),
      converters_{Converter(0, listener, *this), Converter(1, listener, *this),
                  Converter(2, listener, *this)} {
  configure(0);
}

void Adc::reset(Cycle at) noexcept {
  for (Converter& c : converters_) c.reset();
  ccr_ = common_data_ = 0;
  look_at_sources();
  configure(at);
  changed(at);
}

void Adc::set_bus_clock(unsigned cycles, Cycle at) noexcept {
  bus_cycles_ = cycles;
  configure(at);
}

void Adc::plan() noexcept {
  Cycle next = never;
  for (const Converter& c : converters_) next = std::min(next, c.next());
  scheduler_.at(event_, next);
}

void Adc::on_event(Cycle at) noexcept {
  for (Converter& c : converters_)
    if (c.next() == at) c.run_due(at);
  plan();
}

/// Simultaneous in that group, by MULTI: 1 both combined with the other, 2 regular with alternate
/// trigger, 5 injected, 6 regular; from 16 on, of all three.
unsigned Adc::together(Group g) const noexcept {
  const unsigned mode = ccr::MULTI(ccr_), how = mode & 15, count = mode & 16 ? 3 : 2;
  const bool simultaneous =
      g == Group::regular ? how == 1 || how == 2 || how == 6 : how == 1 || how == 5;
  return simultaneous ? count : 1;
}

void Adc::configure(Cycle at) noexcept {
  const unsigned how = ccr::MULTI(ccr_) & 15;
  if (how != 0 && how != 1 && how != 5 && how != 6)
    listener_.not_modelled("MULTI: interleaved and alternate-trigger modes", at);
  for (unsigned i = 0; i < converters_.size(); ++i) {
    converters_[i].set_clock(bus_cycles_ * ccr::prescaler(ccr_), at);
    for (const Group g : {Group::regular, Group::injected})
      converters_[i].set_independent(g, i == 0 || i >= together(g));
    converters_[i].set_common_requests(ccr::DMA(ccr_) != 0 && i < together(Group::regular) &&
                                       together(Group::regular) > 1);
  }
  plan();
}

void Adc::look_at_sources() noexcept {
  awaited_ = {};
  for (const Converter& c : converters_)
    for (const Group g : {Group::regular, Group::injected})
      for (const bool high : {false, true})
        awaited_[g == Group::injected][high] |= c.awaited(g, high);
  listener_.sources_changed();
}

void Adc::start(Group g, unsigned source, bool high, Cycle at) noexcept {
  for (Converter& c : converters_) c.trigger(g, source, high, at);
  plan();
  changed(at);
}

void Adc::begun(unsigned converter, Group g, Cycle at) noexcept {
  if (converter != 0) return;
  for (unsigned i = 1; i < together(g); ++i) converters_[i].begin(g, at);
}

/// A regular conversion of one of them is over: with the last, the common data goes out.
void Adc::converted(unsigned converter, Cycle at) noexcept {
  const unsigned count = together(Group::regular), mode = ccr::DMA(ccr_);
  if (count < 2 || mode == 0 || converter + 1 != count) return;
  const auto data = [&](unsigned i) { return Word{converters_[i].data()}; };
  const auto send = [&](Word value) {
    common_data_ = value;
    listener_.request(0, at);
  };
  if (mode == 1) {
    for (unsigned i = 0; i < count; ++i) send(data(i));
  } else if (mode == 2) {
    send(data(0) | data(1) << 16);
    if (count == 3) send(data(2));
  } else {
    send((data(0) & 0xff) | (data(1) & 0xff) << 8);
    if (count == 3) send(data(2) & 0xff);
  }
  for (unsigned i = 0; i < count; ++i) converters_[i].data_taken(at);
}

void Adc::changed(Cycle at) noexcept {
  bool high = false;
  for (const Converter& c : converters_) high |= c.interrupt();
  if (high != interrupt_) listener_.interrupt(interrupt_ = high, at);
}

Word Adc::read(Word offset, Cycle at) noexcept {
  const unsigned i = offset / window;
  if (i < converters_.size()) return converters_[i].read(offset % window, at);
  switch (offset) {
    case CSR:
      return converters_[0].status() | converters_[1].status() << 8 | converters_[2].status() << 16;
    case CCR:
      return ccr_;
    case CDR:
      if (ccr::DMA(ccr_) == 0)
        return Word{converters_[0].data()} | Word{converters_[1].data()} << 16;
      return common_data_;
    default:
      return 0;
  }
}

void Adc::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const unsigned i = offset / window;
  if (i < converters_.size()) {
    converters_[i].write(offset % window, value, mask, at);
    plan();
    if (offset % window == CR2) look_at_sources();
    return;
  }
  if (offset != CCR) return;
  ccr_ = ((ccr_ & ~mask) | (value & mask)) & 0x00c3ef1f;
  configure(at);
}

}  // namespace stillrotor::io::cortexm
