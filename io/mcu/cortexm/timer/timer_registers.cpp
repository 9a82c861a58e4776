// The registers of a timer.
#include "io/mcu/cortexm/timer/registers.hpp"
#include "io/mcu/cortexm/timer/timer.hpp"

namespace stillrotor::io::cortexm {

using namespace timer_register;

Word Timer::read(Word offset, Cycle at) noexcept {
  if (late_) listener_.looked_at(at);
  advance(at);
  Word value = 0;
  switch (offset) {
    case SR:
      value = sr_;
      break;
    case EGR:
      value = 0;
      break;
    case CNT:
      value = count_.value;
      break;
    case PSC:
      value = psc_;
      break;
    case ARR:
      value = arr_;
      break;
    case RCR:
      value = rcr_;
      break;
    case CR1:
      value = (cr1_ & ~cr1::DIR) | (count_.down ? cr1::DIR : 0);
      break;
    case DMAR:
      value = read(burst_target(), at);
      break;
    default:
      if (offset >= CCR1 && offset <= CCR4) {
        const unsigned i = (offset - CCR1) / 4;
        value = channels_[i].written;
        if (i < layout_.channels && channels_[i].role != Role::output) {
          sr_ &= ~flag::CC(i);
          show_interrupts(at);
        }
      } else if (implemented(offset) != 0) {
        value = plain(offset);
      }
  }
  return value;
}

/// The registers that are just kept.
Word& Timer::plain(Word offset) noexcept {
  switch (offset) {
    case CR1:
      return cr1_;
    case CR2:
      return cr2_;
    case SMCR:
      return smcr_;
    case DIER:
      return dier_;
    case CCMR1:
      return ccmr_[0];
    case CCMR2:
      return ccmr_[1];
    case CCER:
      return ccer_;
    case BDTR:
      return bdtr_;
    case DCR:
      return dcr_;
    default:
      return or_;
  }
}

/// Bits that this timer has; 0: no such register.
Word Timer::implemented(Word offset) const noexcept {
  const unsigned n = layout_.channels;
  const Word channel_flags = ((1u << n) - 1) << 1;
  switch (offset) {
    case CR1:
      return n == 0 ? 0x8fu : layout_.both_ways ? 0x3ffu : 0x38fu;
    case CR2:
      return layout_.advanced ? 0x7ffdu : n == 0 ? 0x70u : 0xf8u;
    case SMCR:
      return n < 2 ? 0 : 0xfff7u;
    case DIER:
      return (layout_.advanced ? 0x7fffu : n == 0 ? 0x101u : 0x4141u | channel_flags * 0x101u);
    case CCMR1:
      return n == 0 ? 0 : n == 1 ? 0xffu : 0xffffu;
    case CCMR2:
      return n < 3 ? 0 : 0xffffu;
    case CCER:
      return layout_.advanced ? 0x3fffu : n == 0 ? 0 : 0xbbbbu & ((1u << (4 * n)) - 1);
    case BDTR:
      return layout_.advanced ? 0xffffu : 0;
    case DCR:
      return n == 0 ? 0 : 0x1f1fu;
    case OR:
      return 0xffffu;
    default:
      return 0;
  }
}

void Timer::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merged = [&](Word old) { return (old & ~mask) | (value & mask); };
  if (late_) listener_.looked_at(at);
  advance(at);
  const unsigned i = (offset - CCR1) / 4;
  if (i < layout_.channels && preloads(i) && under_way_ == 0 && count_.value <= count_.top) {
    // It waits for the next update, and nothing else changes.
    channels_[i].written = merged(channels_[i].written) & count_.maximum;
    return;
  }
  const Change change(*this, at);
  const Word bits = implemented(offset);
  if (offset <= DIER || (offset >= CCMR1 && offset <= CCER)) listener_.changes(at);
  switch (offset) {
    case SR:
      sr_ &= merged(~Word{0});
      if ((bdtr_ & bdtr::BKE) && break_ == bool(bdtr_ & bdtr::BKP)) sr_ |= flag::B;
      show_interrupts(at);
      break;
    case EGR:
      generate(value & mask, at);
      break;
    case CNT:
      count_.value = merged(count_.value) & count_.maximum;
      if (count_.centred && (count_.value == 0 || count_.value == count_.top))
        count_.down = count_.value != 0;
      break;
    case OR:
      or_ = merged(or_) & bits;
      if (or_ != 0) listener_.not_modelled("OR: inputs are not remapped", at);
      break;
    case PSC:
      psc_ = merged(psc_) & 0xffff;
      break;
    case ARR:
      arr_ = merged(arr_) & count_.maximum;
      if (!(cr1_ & cr1::ARPE)) count_.top = arr_;
      break;
    case RCR:
      if (layout_.advanced) rcr_ = merged(rcr_) & 0xff;
      break;
    case CR1: {
      const Word old = cr1_;
      cr1_ = merged(cr1_) & bits;
      count_.centred = cr1::CMS(cr1_) != 0;
      const unsigned mode = smcr::SMS(smcr_);
      if (!count_.centred && !(mode >= 1 && mode <= 3)) count_.down = cr1_ & cr1::DIR;
      if (!(old & cr1::CEN) && (cr1_ & cr1::CEN)) start_counting(at);
      break;
    }
    case CR2: {
      Word kept = 0;
      if (bdtr::LOCK(bdtr_) >= 1) kept = 0x7f00;  // OISx
      const bool preloading = cr2_ & cr2::CCPC;
      cr2_ = (merged(cr2_) & bits & ~kept) | (cr2_ & kept);
      listen();
      if (preloading && !(cr2_ & cr2::CCPC)) commutate(at);
      feed_first_input(at);
      break;
    }
    case SMCR:
      smcr_ = merged(smcr_) & bits;
      listen();
      if (smcr::ETPS(smcr_) != 0) listener_.not_modelled("ETPS: the trigger is not divided", at);
      trigger_in_ = source_level(smcr::TS(smcr_));
      break;
    case DIER:
      dier_ = merged(dier_) & bits;
      show_interrupts(at);
      break;
    case CCMR1:
    case CCMR2:
      if (bits != 0) {
        Word& kept = ccmr_[offset == CCMR2];
        const unsigned first = offset == CCMR2 ? 2 : 0;
        kept = merged(kept) & bits;
        write_modes(first, kept);
      }
      break;
    case CCER:
      write_enables(merged(ccer_) & bits);
      break;
    case BDTR:
      if (bits != 0) write_break(merged(bdtr_) & bits, at);
      break;
    case DMAR:
      return write(burst_target(), value, mask, at);
    default:
      if (offset >= CCR1 && offset <= CCR4)
        write_compare((offset - CCR1) / 4, merged(channels_[(offset - CCR1) / 4].written));
      else if (bits != 0)
        plain(offset) = merged(plain(offset)) & bits;
  }
  if (bits != 0 && offset != DIER) set_anew_ = true;
  refresh(at);
}

void Timer::write_modes(unsigned first, Word value) noexcept {
  for (unsigned i = first; i < first + 2u && i < layout_.channels; ++i) {
    Channel& c = channels_[i];
    const Word byte = value >> (8 * (i - first)) & 0xff;
    const auto role = static_cast<Role>(byte & 3);
    if (role != Role::output) {
      c.role = role;
      c.every = static_cast<std::uint8_t>(1u << (byte >> 2 & 3));
      c.filter = static_cast<std::uint8_t>(byte >> 4);
      c.mode = c.mode_written = 0;
      continue;
    }
    c.role = Role::output;
    c.filter = 0;
    c.preloaded = byte >> 3 & 1;
    if (!c.preloaded) compare_[i] = c.written;
    // Hastened is an output only behind a trigger.
    if ((byte & 0x80) || ((byte & 0x04) && smcr::SMS(smcr_) != 0))
      listener_.not_modelled("OCxCE, OCxFE: the output is not cleared or hastened", last_tick_);
    c.mode_written = byte >> 4 & 7;
    if ((cr2_ & cr2::CCPC) && i < 3) continue;  // with the next COM
    if (c.mode == 0 && c.mode_written >= 6) start_pwm(i, c.mode_written);
    c.mode = c.mode_written;
  }
  sort_modes();
}

void Timer::write_enables(Word value) noexcept {
  if (bdtr::LOCK(bdtr_) >= 2) {
    constexpr Word polarities = 0xaaaa;
    value = (value & ~polarities) | (ccer_ & polarities);
  }
  ccer_ = value;
  for (unsigned i = 0; i < layout_.channels; ++i) {
    if ((cr2_ & cr2::CCPC) && i < 3) continue;
    channels_[i].enabled = ccer_ >> (4 * i) & 1;
    channels_[i].enabled_n = ccer_ >> (4 * i + 2) & 1;
  }
}

void Timer::write_compare(unsigned i, Word value) noexcept {
  if (i >= layout_.channels || channels_[i].role != Role::output) return;  // a capture is read-only
  channels_[i].written = value & count_.maximum;
  if (!channels_[i].preloaded) compare_[i] = channels_[i].written;
}

void Timer::generate(Word events, Cycle at) noexcept {
  if (events & flag::U) restart(at);
  for (unsigned i = 0; i < layout_.channels; ++i) {
    if (!(events & flag::CC(i))) continue;
    if (channels_[i].role != Role::output) {
      channels_[i].written = count_.value;
      if (sr_ & flag::CC(i)) sr_ |= flag::CCOF(i);
    }
    raise(flag::CC(i), at);
  }
  if ((events & flag::COM) && layout_.advanced && (cr2_ & cr2::CCPC)) {
    commutate(at);
    raise(flag::COM, at);
  }
  if (events & flag::T) raise(flag::T, at);
  if ((events & flag::B) && layout_.advanced) stop_outputs(at);
}

void Timer::write_break(Word value, Cycle at) noexcept {
  const unsigned lock = bdtr::LOCK(bdtr_);
  Word kept = 0;
  if (lock >= 1) kept |= 0x00ff | bdtr::BKE | bdtr::BKP | bdtr::AOE | 3u << 8;
  if (lock >= 2) kept |= bdtr::OSSR | bdtr::OSSI;
  bdtr_ = (value & ~kept) | (bdtr_ & kept);
  // The break input's level holds MOE down.
  if ((bdtr_ & bdtr::BKE) && break_ == bool(bdtr_ & bdtr::BKP)) stop_outputs(at);
}

/// The register that a burst of transfers has come to.
Word Timer::burst_target() noexcept {
  const Word base = dcr_ & 0x1f, length = (dcr_ >> 8 & 0x1f) + 1;
  const Word target = 4 * (base + burst_);
  burst_ = (burst_ + 1) % length;
  return target == DMAR ? OR : target;  // itself: nothing useful
}

}  // namespace stillrotor::io::cortexm
