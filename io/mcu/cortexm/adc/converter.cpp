#include "io/mcu/cortexm/adc/converter.hpp"

namespace stillrotor::io::cortexm {

using namespace adc_register;

Converter::Converter(unsigned index, AdcListener& listener, Owner& owner)
    : index_(index), listener_(listener), owner_(owner) {}

void Converter::reset() noexcept {
  sr_ = cr1_ = cr2_ = ltr_ = jsqr_ = data_ = interrupting_ = 0;
  htr_ = 0xfff;
  smpr_ = {};
  sqr_ = {};
  jofr_ = jdr_ = {};
  busy_.reset();
  place_ = left_ = {};
  regular_waits_ = requests_over_ = common_requests_ = unread_ = false;
  independent_ = {true, true};
  due_ = finishes_ = never;
}

// --- sequences ------------------------------------------------------------------------------

unsigned Converter::length(Group g) const noexcept {
  if (!(cr1_ & cr1::SCAN)) return 1;
  return g == Group::regular ? (sqr_[0] >> 20 & 15) + 1 : (jsqr_ >> 20 & 3) + 1;
}

unsigned Converter::channel(Group g, unsigned place) const noexcept {
  if (g == Group::injected) {
    // The last of the sequence stands in JSQ4 (without SCAN too: JL says where the first one is).
    const unsigned first = 3 - (jsqr_ >> 20 & 3);
    return jsqr_ >> (5 * (first + place)) & 31;
  }
  const Word word = sqr_[2 - place / 6];  // SQR3 holds the first six
  return word >> (5 * (place % 6)) & 31;
}

/// The window of that channel and the way to the code, in converter clocks.
Cycle Converter::sampling(unsigned channel) const noexcept {
  constexpr std::array<std::uint16_t, 8> clocks{3, 15, 28, 56, 84, 112, 144, 480};
  constexpr unsigned channels = 19;  // a sequence can name others, that are not there
  const Word word = channel < 10         ? smpr_[1] >> (3 * channel)
                    : channel < channels ? smpr_[0] >> (3 * (channel - 10))
                                         : 0;
  return clocks[word & 7];
}

/// A trigger or a start by the firmware.
void Converter::start(Group g, Cycle at) noexcept {
  if (!independent_[index(g)] || !(cr2_ & cr2::ADON)) return;
  if (g == Group::injected && (cr1_ & cr1::JAUTO)) return;  // follows the regular sequence
  owner_.begun(index_, g, at);
  begin(g, at);
}

void Converter::begin(Group g, Cycle at) noexcept {
  if (!(cr2_ & cr2::ADON)) return;
  if (g == Group::regular && (sr_ & sr::OVR)) return;
  if (busy_ == g || (g == Group::regular && regular_waits_)) return;  // under way
  const bool piecemeal = cr1_ & (g == Group::regular ? cr1::DISCEN : cr1::JDISCEN);
  left_[index(g)] = !piecemeal ? length(g) : g == Group::regular ? cr1::DISCNUM(cr1_) + 1 : 1;
  if (!piecemeal) place_[index(g)] = 0;
  sr_ |= g == Group::regular ? sr::STRT : sr::JSTRT;
  if (busy_ == Group::injected) {  // this one comes next
    regular_waits_ = true;
    return;
  }
  if (busy_ == Group::regular) regular_waits_ = true;
  busy_ = g;
  const Cycle clocks = g == Group::injected ? 3 : 2;
  start_conversion((at / cycles_ + clocks) * cycles_);
}

void Converter::start_conversion(Cycle at) noexcept {
  finishes_ = never;
  channel_ = channel(*busy_, place_[index(*busy_)]);
  due_ = at + sampling(channel_) * cycles_;
}

/// The window of a conversion is over, or its code is there.
void Converter::run_due(Cycle at) noexcept {
  if (finishes_ == at) return finish(at);
  catch_up(at);
  code_ = listener_.sample(index_, channel_, at);
  finishes_ = at + cr1::bits(cr1_) * Cycle{cycles_};
  due_ = finishes_;
  if (goes_on_unnoticed()) due_ += sampling(channel(Group::injected, place_[1] + 1)) * cycles_;
}

/// Within an injected sequence nobody is told that a code is there: it is put away when somebody
/// looks, or with the next one.
bool Converter::goes_on_unnoticed() const noexcept {
  return busy_ == Group::injected && left_[1] > 1 && place_[1] + 1 < length(Group::injected) &&
         !(cr1_ & cr1::JAWDEN);
}

/// Before a change of what a conversion depends on: the code that is awaited comes under the new
/// settings.
void Converter::disturb(Cycle at) noexcept {
  catch_up(at);
  if (finishes_ != never) due_ = finishes_;
}

void Converter::finish(Cycle at) noexcept {
  const Group g = *busy_;
  const unsigned i = index(g);
  const Word before = sr_;
  due_ = finishes_ = never;
  const unsigned code = code_ >> (12 - cr1::bits(cr1_));
  watch(channel_, code_, g);
  g == Group::regular ? finish_regular(code, at) : finish_injected(code, at);
  --left_[i];
  if (++place_[i] >= length(g)) {
    sequence_over(g, at);
  } else if (left_[i] == 0) {
    busy_.reset();
    if (g == Group::injected && regular_waits_) {
      regular_waits_ = false;
      busy_ = Group::regular;
    }
  }
  if (busy_) start_conversion(at);
  if (sr_ != before) owner_.changed(at);
}

void Converter::finish_regular(unsigned code, Cycle at) noexcept {
  const bool watches_loss = (cr2_ & (cr2::DMA | cr2::EOCS)) || common_requests_;
  if (watches_loss && unread_) return data_lost(at);
  unread_ = true;
  const unsigned to_left = cr1::bits(cr1_) == 6 ? 2 : 16 - cr1::bits(cr1_);
  data_ = cr2_ & cr2::ALIGN ? code << to_left : code;
  const bool last = place_[0] + 1 >= length(Group::regular);
  if ((cr2_ & cr2::EOCS) || last) sr_ |= sr::EOC;
  owner_.converted(index_, at);
  if (!(cr2_ & cr2::DMA) || requests_over_ || common_requests_) return;
  if (listener_.request(index_, at) && !(cr2_ & cr2::DDS)) requests_over_ = true;
}

void Converter::finish_injected(unsigned code, Cycle) noexcept {
  const Word offset = jofr_[place_[1]];
  const Word value = code - offset;  // signed
  jdr_[place_[1]] =
      (cr2_ & cr2::ALIGN ? value << (cr1::bits(cr1_) == 6 ? 1 : 15 - cr1::bits(cr1_)) : value) &
      0xffff;
}

void Converter::sequence_over(Group g, Cycle at) noexcept {
  place_[index(g)] = 0;
  busy_.reset();
  if (g == Group::injected) {
    sr_ |= sr::JEOC;
    if (regular_waits_) busy_ = Group::regular;
    regular_waits_ = false;
    if ((cr1_ & cr1::JAUTO) && (cr2_ & cr2::CONT)) begin(Group::regular, at);
    return;
  }
  if (cr1_ & cr1::JAUTO) {
    busy_ = Group::injected;
    left_[1] = length(Group::injected);
    place_[1] = 0;
    sr_ |= sr::JSTRT;
    return;
  }
  if (cr2_ & cr2::CONT && !(sr_ & sr::OVR)) {
    busy_ = Group::regular;
    left_[0] = length(Group::regular);
  }
}

/// The analog watchdog compares codes of 12 bits before any offset.
void Converter::watch(unsigned channel, unsigned code, Group g) noexcept {
  if (!(cr1_ & (g == Group::regular ? cr1::AWDEN : cr1::JAWDEN))) return;
  if ((cr1_ & cr1::AWDSGL) && channel != cr1::AWDCH(cr1_)) return;
  if (code > htr_ || code < ltr_) sr_ |= sr::AWD;
}

void Converter::data_lost(Cycle at) noexcept {
  sr_ |= sr::OVR;
  owner_.changed(at);
}

void Converter::data_taken(Cycle at) noexcept {
  sr_ &= ~sr::EOC;
  unread_ = false;
  owner_.changed(at);
}

// --- triggers and registers -----------------------------------------------------------------

void Converter::trigger(Group g, unsigned source, bool high, Cycle at) noexcept {
  if (source == this->source(g) && (edges(g) & (high ? 1 : 2))) start(g, at);
}
unsigned Converter::edges(Group g) const noexcept {
  return g == Group::injected ? cr2::JEXTEN(cr2_) : cr2::EXTEN(cr2_);
}
unsigned Converter::source(Group g) const noexcept {
  return g == Group::injected ? cr2::JEXTSEL(cr2_) : cr2::EXTSEL(cr2_);
}
unsigned Converter::awaited(Group g, bool high) const noexcept {
  return (edges(g) & (high ? 1 : 2)) != 0 ? 1u << source(g) : 0u;
}

Word Converter::read(Word offset, Cycle at) noexcept {
  catch_up(at);
  switch (offset) {
    case SR:
      return sr_;
    case CR1:
      return cr1_;
    case CR2:
      return cr2_;
    case SMPR1:
    case SMPR2:
      return smpr_[offset == SMPR2];
    case HTR:
      return htr_;
    case LTR:
      return ltr_;
    case SQR1:
    case SQR2:
    case SQR3:
      return sqr_[(offset - SQR1) / 4];
    case JSQR:
      return jsqr_;
    case DR:
      data_taken(at);
      return data_;
    default:
      break;
  }
  if (offset >= JOFR1 && offset <= JOFR4) return jofr_[(offset - JOFR1) / 4];
  if (offset >= JDR1 && offset <= JDR4) return jdr_[(offset - JDR1) / 4];
  return 0;
}

void Converter::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto put = [&](Word& old, Word bits) { old = ((old & ~mask) | (value & mask)) & bits; };
  disturb(at);
  switch (offset) {
    case SR:
      sr_ &= (value & mask) | ~mask | ~Word{0x3f};
      break;
    case CR1:
      put(cr1_, 0x07c0ffff);
      interrupting_ = (cr1_ & cr1::EOCIE ? sr::EOC : 0) | (cr1_ & cr1::JEOCIE ? sr::JEOC : 0) |
                      (cr1_ & cr1::AWDIE ? sr::AWD : 0) | (cr1_ & cr1::OVRIE ? sr::OVR : 0);
      break;
    case CR2: {
      const Word old = cr2_;
      put(cr2_, 0x7f7f0f03);
      const Word starts = cr2_ & (cr2::SWSTART | cr2::JSWSTART);
      cr2_ &= ~(cr2::SWSTART | cr2::JSWSTART);
      if (!(cr2_ & cr2::DMA) || !(old & cr2::DMA)) requests_over_ = false;
      if (!(cr2_ & cr2::ADON)) {
        busy_.reset();
        regular_waits_ = false;
        place_ = {};
        due_ = finishes_ = never;
        break;
      }
      if (starts & cr2::JSWSTART) start(Group::injected, at);
      if (starts & cr2::SWSTART) start(Group::regular, at);
      break;
    }
    case SMPR1:
      put(smpr_[0], 0x07ffffff);
      break;
    case SMPR2:
      put(smpr_[1], 0x3fffffff);
      break;
    case HTR:
      put(htr_, 0xfff);
      break;
    case LTR:
      put(ltr_, 0xfff);
      break;
    case SQR1:
      put(sqr_[0], 0x00ffffff);
      break;
    case SQR2:
      put(sqr_[1], 0x3fffffff);
      break;
    case SQR3:
      put(sqr_[2], 0x3fffffff);
      break;
    case JSQR:
      put(jsqr_, 0x003fffff);
      break;
    default:
      if (offset >= JOFR1 && offset <= JOFR4) put(jofr_[(offset - JOFR1) / 4], 0xfff);
  }
  if (busy_) channel_ = channel(*busy_, place_[index(*busy_)]);
  owner_.changed(at);
}

}  // namespace stillrotor::io::cortexm
