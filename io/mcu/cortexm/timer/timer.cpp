#include "io/mcu/cortexm/timer/timer.hpp"

#include <bit>
#include <utility>

#include "io/mcu/cortexm/timer/registers.hpp"

namespace stillrotor::io::cortexm {

using namespace timer_register;

namespace {
enum OutputMode : std::uint8_t {
  frozen,
  active_on_match,
  inactive_on_match,
  toggle,
  force_inactive,
  force_active,
  pwm1,
  pwm2
};
constexpr Word all_requests = 0x7f00;  // of DIER
bool is_pwm(unsigned mode) { return mode >= pwm1; }

void put(unsigned& bits, unsigned i, bool on) {
  bits = (bits & ~(1u << i)) | static_cast<unsigned>(on) << i;
}
}  // namespace

Timer::Timer(const TimerLayout& layout, Scheduler& scheduler, TimerListener& listener)
    : layout_(layout),
      scheduler_(scheduler),
      listener_(listener),
      event_(scheduler.make<&Timer::on_event>(this)) {
  reset(0);
}

void Timer::reset(Cycle at) noexcept {
  cr1_ = cr2_ = smcr_ = dier_ = sr_ = ccer_ = bdtr_ = dcr_ = or_ = 0;
  ccmr_ = {};
  psc_ = rcr_ = prescaler_ = repetitions_ = burst_ = 0;
  count_ = {};
  count_.maximum = layout_.wide ? 0xffffffffu : 0xffffu;
  arr_ = count_.top = count_.maximum;
  last_tick_ = at;
  set_anew_ = true;
  channels_.fill({});
  for (Output& o : outputs_) o.stage = {};
  stage_due_.fill(never);
  stages_due_ = never;
  compare_ = {};
  below_ = reference_ = staged_ = 0;
  sort_modes();
  settle_outputs(at);
  show_interrupts(at);
  schedule();
}

void Timer::set_clock(unsigned cycles, Cycle at) noexcept {
  if (cycles == cycles_) return;
  const Change change(*this, at);
  cycles_ = cycles;
  last_tick_ = at;
  set_anew_ = true;
  refresh(at);
}

// --- time -----------------------------------------------------------------------------------

/// Counts its own clock: not that of an encoder or of a trigger.
bool Timer::ticks() const noexcept {
  if (!(cr1_ & cr1::CEN) || cycles_ == 0 || count_.stands_still()) return false;
  return smcr_ == 0 || !clocked_by_trigger();
}

/// Or held by it.
bool Timer::clocked_by_trigger() const noexcept {
  if (smcr_ & smcr::ECE) return true;
  switch (smcr::SMS(smcr_)) {
    case 1:
    case 2:
    case 3:
    case 7:
      return true;
    case 5:
      return !trigger_in_;
    default:
      return false;
  }
}

/// Somebody outside would notice what the counter does.
bool Timer::watched() const noexcept {
  return dier_ != 0 || ccer_ != 0 || cr2::MMS(cr2_) != 0 || (cr1_ & cr1::OPM);
}

/// The compare values that the count meets before its next boundary, in their order, and that.
void Timer::lay_course() noexcept {
  const Count::Ticks to_boundary = count_.to_boundary();
  const auto after = [&](Count::Ticks ticks) { return last_tick_ + ticks * period(); };
  unsigned end = 0;
  for (unsigned i = 0; i < compare_.size(); ++i) {
    const Word between = count_.between(compare_[i]);
    if (between >= count_.passed() || Count::Ticks{between} + 1 == to_boundary) continue;
    if (!(modes_.outputs >> i & 1)) continue;
    const Moment one{after(Count::Ticks{between} + 1), 1u << i};
    unsigned place = end;
    while (place > 0 && course_[place - 1].at > one.at) --place;
    if (place > 0 && course_[place - 1].at == one.at) {
      course_[place - 1].met |= one.met;
      continue;
    }
    for (unsigned k = end++; k > place; --k) course_[k] = course_[k - 1];
    course_[place] = one;
  }
  course_[end] = {after(to_boundary), 0};
}

void Timer::start_counting(Cycle at) noexcept {
  // CNT_EN comes one clock after CEN; the prescaler starts from there.
  if (cycles_ != 0) last_tick_ = (at / cycles_ + 1) * cycles_;
}

/// Everything up to and including that cycle, in order.
void Timer::advance(Cycle to) noexcept {
  run_due(to);
  if (to > last_tick_) count_on(to);
}

/// The same, and the count is left where the last event left it.
void Timer::run_due(Cycle to) noexcept {
  while (due_ <= to) {
    if (due_ != unknown) {
      ++under_way_;
      happen(std::exchange(due_, unknown));
      --under_way_;
    }
    if (due_ == unknown) schedule();
  }
}

/// What is due at that cycle. What comes next is found out behind it, whatever others have found
/// out in between; where it was known before, they have seen to it that it still holds.
void Timer::happen(Cycle at) noexcept {
  if (const Moment moment = course_[moment_]; moment.at == at) {
    const Cycle span = at - std::exchange(last_tick_, at);
    if (moment.met == 0) {
      count(ticks_in(span), at);
      due_ = unknown;
      return;
    }
    ++moment_;
    meet(moment.met, at);
    return plan();
  }
  if (filters_due_ > at) {
    settle_outputs(at);
    return plan();
  }
  settle_inputs(at);
  settle_outputs(at);
  due_ = unknown;
}

/// The count comes to the compare value of those channels, between two boundaries: only for them
/// the comparison changes.
void Timer::meet(Channels those, Cycle at) noexcept {
  count_.value = compare_[static_cast<unsigned>(std::countr_zero(those))];
  if ((those & modes_.by_match) != 0 || tells_compares()) {
    compare(Boundary::none, at);
    return refresh(at);  // who was told may have written others
  }
  if (flags_compares(count_.down)) sr_ |= those * flag::CC1;
  follow_comparison(those, count_.down ? those : 0);
  show_reference(at);
}

/// Not as far as the next event.
void Timer::count_on(Cycle to) noexcept {
  if (!ticks() || to <= last_tick_) return;
  const Count::Ticks gone = ticks_in(to - last_tick_);
  count_.move(gone);
  last_tick_ += gone * period();
}

/// That many ticks, the last of them at that cycle, not beyond the next event.
void Timer::count(Count::Ticks ticks, Cycle at) noexcept {
  const Boundary reached = count_.move(ticks);
  if (reached != Boundary::none) boundary(reached, at);
  compare(reached, at);
  refresh(at);
}

void Timer::schedule() noexcept {
  moment_ = 0;
  course_[0] = {never, 0};
  if (ticks()) lay_course();
  watched_ = watched();
  plan();
}

/// The same where the count's course still holds.
void Timer::plan() noexcept {
  const Cycle by_itself = std::min(filters_due_, stages_due_);
  due_ = std::min(by_itself, course_[moment_].at);
  scheduler_.at(event_, watched_ ? due_ : by_itself);
}

void Timer::boundary(Boundary, Cycle at) noexcept {
  if (layout_.advanced && repetitions_ != 0) {
    --repetitions_;
    return;
  }
  const bool reloads = count_.value == count_.top && count_.top != 0;
  update(true, at);
  if (reloads) count_.value = count_.top;  // with the new top
}

/// The update event: what is preloaded comes into force.
void Timer::update(bool by_count, Cycle at) noexcept {
  if (cr1_ & cr1::UDIS) return;
  prescaler_ = psc_;
  count_.top = arr_;
  repetitions_ = rcr_;
  for (unsigned i = 0; i < compare_.size(); ++i)
    if (modes_.outputs >> i & 1) compare_[i] = channels_[i].written;
  if (bdtr_ & bdtr::AOE && !(bdtr_ & bdtr::BKE && break_ == bool(bdtr_ & bdtr::BKP))) {
    bdtr_ |= bdtr::MOE;
    set_anew_ = true;
  }
  if (by_count && (cr1_ & cr1::OPM)) cr1_ &= ~cr1::CEN;
  if (cr2::MMS(cr2_) == 2) pulse(at);
  if (cr2_ & cr2::CCDS)
    for (unsigned i = 0; i < layout_.channels; ++i)
      if (dier_ & flag::DE(flag::CC(i))) listener_.request(static_cast<TimerRequest>(1 + i), at);
  if (by_count || !(cr1_ & cr1::URS)) raise(flag::U, at);
}

/// Count and prescaler from their start, and an update.
void Timer::restart(Cycle at) noexcept {
  last_tick_ = at;
  if (count_.centred) count_.down = false;
  update(false, at);
  count_.value = count_.down ? count_.top : 0;
  if (cr2::MMS(cr2_) == 0) pulse(at);
}

// --- compare --------------------------------------------------------------------------------

/// Of the output channels, those for whose compare value it holds.
template <class Condition>
Timer::Channels Timer::outputs_where(Condition holds) const noexcept {
  Channels those = 0;
  for (unsigned i = 0; i < compare_.size(); ++i) those |= Channels{holds(compare_[i])} << i;
  return those & modes_.outputs;
}

/// Whether a count that comes that way sets flags.
bool Timer::flags_compares(bool down) const noexcept {
  const unsigned both_ways = cr1::CMS(cr1_);
  return !count_.centred || both_ways == 3 || (both_ways == 1) == down;
}

/// Somebody is told of such a flag at once.
bool Timer::tells_compares() const noexcept {
  return (dier_ & (flag::compares | flag::DE(flag::compares))) != 0 || cr2::MMS(cr2_) == 3;
}

/// Flags of the compare values at which the count has just arrived.
void Timer::compare(Boundary reached, Cycle at) noexcept {
  // The direction in which the count has come here.
  const bool came_down = reached == Boundary::none ? count_.down : reached == Boundary::underflow;
  const auto matching = [&] {
    return outputs_where([&](Word compare) { return compare == count_.value; });
  };
  const auto beyond = [&]() -> Channels {
    // Beyond the counter's way the flag comes with the boundary.
    if (reached == Boundary::none ||
        reached != (count_.centred || !count_.down ? Boundary::overflow : Boundary::underflow))
      return 0;
    return outputs_where([&](Word compare) { return compare > count_.top; });
  };
  Channels ahead = ~0u, match = matching(), over = beyond();
  while (const Channels rest = (match | over) & ahead) {
    const auto i = static_cast<unsigned>(std::countr_zero(rest));
    ahead = ~((2u << i) - 1);
    if (match >> i & 1) {
      const unsigned mode = channels_[i].mode;
      if (mode == active_on_match) put(reference_, i, true);
      if (mode == inactive_on_match) put(reference_, i, false);
      if (mode == toggle) reference_ ^= 1u << i;
    }
    if (!(over >> i & 1) && !flags_compares(came_down)) continue;
    const bool tells = i == 0 && cr2::MMS(cr2_) == 3;
    if (tells) pulse(at);
    raise(flag::CC(i), at);
    // A request for DMA may have written others.
    if (tells || (dier_ & all_requests) != 0) match = matching(), over = beyond();
  }
}

/// After any change of a channel's role or mode.
void Timer::sort_modes() noexcept {
  modes_ = {0};
  for (unsigned i = 0; i < layout_.channels; ++i) {
    const Channel& c = channels_[i];
    put(modes_.outputs, i, c.role == Role::output);
    put(modes_.by_match, i, c.mode >= active_on_match && c.mode <= toggle);
    put(modes_.pwm, i, is_pwm(c.mode));
    put(modes_.pwm2, i, c.mode == pwm2);
    put(modes_.forced_on, i, c.mode == force_active);
    put(modes_.forced_off, i, c.mode == force_inactive);
  }
  listen();
}

/// Out of the frozen mode OCREF follows the comparison at once.
void Timer::start_pwm(unsigned i, unsigned mode) noexcept {
  const bool below = count_.below(compare_[i]);
  put(below_, i, below);
  put(reference_, i, below == (mode == pwm1));
}

void Timer::refresh(Cycle at) noexcept {
  const Modes& m = modes_;
  follow_comparison(m.outputs, outputs_where([&](Word compare) { return count_.below(compare); }));
  reference_ = ((reference_ & ~m.forced_off) | m.forced_on) & m.outputs;
  show_reference(at);
}

/// OCREF of those channels. It follows a change of the comparison only, so a forced level holds
/// until the next one.
void Timer::follow_comparison(Channels those, Channels below) noexcept {
  const Channels changed = (below ^ below_) & those, by_it = changed & modes_.pwm;
  below_ ^= changed;
  reference_ = (reference_ & ~by_it) | ((below ^ modes_.pwm2) & by_it);
}

/// What hangs on OCREF.
void Timer::show_reference(Cycle at) noexcept {
  settle_outputs(at);
  const unsigned source = cr2::MMS(cr2_);
  const bool out = source == 1 ? (cr1_ & cr1::CEN) != 0
                               : source >= 4 && source - 4 < layout_.channels &&
                                     (reference_ >> (source - 4) & 1);
  if (out != trigger_out_) {
    trigger_out_ = out;
    listener_.trigger(out, at);
  }
}

OutputSettings Timer::settings(unsigned i) const noexcept {
  const Channel& c = channels_[i];
  const bool paired = layout_.advanced && i < 3;
  OutputSettings s;
  s.enabled = c.role == Role::output && c.enabled;
  s.inverted = ccer_ >> (4 * i + 1) & 1;
  if (paired) {
    s.enabled_n = c.role == Role::output && c.enabled_n;
    s.inverted_n = ccer_ >> (4 * i + 3) & 1;
    s.idle_n = cr2::OISN(cr2_, i);
    s.dead_time = Cycle{bdtr::dead_time(bdtr_)} << cr1::CKD(cr1_);
    s.dead_time *= cycles_;
  }
  if (layout_.advanced) {
    s.idle = cr2::OIS(cr2_, i);
    s.main = bdtr_ & bdtr::MOE;
    s.off_when_run = bdtr_ & bdtr::OSSR;
    s.off_when_idle = bdtr_ & bdtr::OSSI;
  }
  return s;
}

void Timer::settle_outputs(Cycle at) noexcept {
  if (set_anew_) [[unlikely]] {
    for (unsigned i = 0; i < layout_.channels; ++i) outputs_[i].stage.configure(settings(i), at);
    staged_ = reference_ ^ ((1u << layout_.channels) - 1);  // so that all count as moved
    set_anew_ = false;
  }
  // Looked at anew after each: who is told of one may bring another about.
  const auto moved = [&] {
    Channels those = reference_ ^ staged_;
    if (stages_due_ <= at)
      for (unsigned i = 0; i < stage_due_.size(); ++i) those |= Channels{stage_due_[i] <= at} << i;
    return those;
  };
  while (const Channels those = moved())
    settle_output(static_cast<unsigned>(std::countr_zero(those)), at);
}

void Timer::settle_output(unsigned i, Cycle at) noexcept {
  Output& o = outputs_[i];
  const Channels bit = 1u << i;
  staged_ = (staged_ & ~bit) | (reference_ & bit);
  o.stage.follow(reference_ & bit, at);
  // The others' first: what has just been stored is not waited for.
  stage_due_[i] = never;
  const Cycle others =
      std::min(std::min(stage_due_[0], stage_due_[1]), std::min(stage_due_[2], stage_due_[3]));
  stage_due_[i] = o.stage.next(at);
  stages_due_ = std::min(others, stage_due_[i]);
  if (const Pads pads = o.stage.pads(at); pads != o.pads) tell_pads(i, pads, at);
  if (!(signals_told_ & bit)) return;
  const bool signal = o.stage.signal(reference_ & bit);
  if (signal != o.signal) listener_.channel_signal(i, o.signal = signal, at);
}

void Timer::tell_signals(unsigned channels) noexcept {
  signals_told_ = channels;
  for (unsigned i = 0; i < layout_.channels; ++i)
    outputs_[i].signal = outputs_[i].stage.signal(staged_ >> i & 1);
}

/// They differ from what has been told.
void Timer::tell_pads(unsigned i, Pads pads, Cycle at) noexcept {
  Pads& told = outputs_[i].pads;
  const bool moves = pads[0] != told[0], moves_n = pads[1] != told[1];
  // Off before on, as the dead time would have it.
  const bool first = !moves || (moves_n && pads[0] == Level::high && pads[1] != Level::high);
  listener_.pad(i, first, told[first] = pads[first], at);
  if (moves && moves_n) listener_.pad(i, !first, told[!first] = pads[!first], at);
}

// --- flags ----------------------------------------------------------------------------------

void Timer::raise(Word event, Cycle at) noexcept {
  sr_ |= event;
  show_interrupts(at);
  if (!(dier_ & flag::DE(event)) || event == flag::B) return;
  burst_ = 0;
  if (event == flag::U) return listener_.request(TimerRequest::update, at);
  if (event == flag::COM) return listener_.request(TimerRequest::com, at);
  if (event == flag::T) return listener_.request(TimerRequest::trigger, at);
  if (cr2_ & cr2::CCDS) return;
  for (unsigned i = 0; i < 4; ++i)
    if (event == flag::CC(i)) listener_.request(static_cast<TimerRequest>(1 + i), at);
}

void Timer::show_interrupts(Cycle at) noexcept {
  const Word on = sr_ & dier_ & 0xff;
  if (on == shown_) return;
  shown_ = on;
  std::array<bool, 5> lines{};
  if (layout_.advanced)
    lines = {false, (on & flag::B) != 0, (on & flag::U) != 0, (on & (flag::T | flag::COM)) != 0,
             (on & flag::compares) != 0};
  else
    lines[0] = on != 0;
  for (unsigned i = 0; i < lines.size(); ++i)
    if (lines[i] != lines_[i])
      listener_.interrupt(static_cast<TimerInterrupt>(i), lines_[i] = lines[i], at);
}

void Timer::pulse(Cycle at) noexcept {
  listener_.trigger(true, at);
  listener_.trigger(false, at);
}

/// MOE falls: at once, whatever the clock does.
void Timer::stop_outputs(Cycle at) noexcept {
  bdtr_ &= ~bdtr::MOE;
  set_anew_ = true;
  settle_outputs(at);
  raise(flag::B, at);
}

/// COM: the preloaded modes and enables of the paired channels come into force.
void Timer::commutate(Cycle at) noexcept {
  for (unsigned i = 0; i < layout_.channels; ++i) {
    Channel& c = channels_[i];
    if (c.mode == frozen && is_pwm(c.mode_written)) start_pwm(i, c.mode_written);
    c.mode = c.mode_written;
    c.enabled = ccer_ >> (4 * i) & 1;
    c.enabled_n = ccer_ >> (4 * i + 2) & 1;
  }
  sort_modes();
  set_anew_ = true;
  refresh(at);
}

void Timer::break_input(bool high, Cycle at) noexcept {
  if (!layout_.advanced || high == break_) return;
  const Change change(*this, at);
  break_ = high;
  if ((bdtr_ & bdtr::BKE) && high == bool(bdtr_ & bdtr::BKP)) stop_outputs(at);
}

}  // namespace stillrotor::io::cortexm
