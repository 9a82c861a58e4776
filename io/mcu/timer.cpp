// Counting. The register side is in timer_registers.cpp.
#include "io/mcu/timer.hpp"

#include <algorithm>

#include "io/mcu/adc.hpp"

namespace stillrotor::io::mcu {

std::uint32_t Timer::top() const noexcept {
  switch (mode_.top_source) {
    case TopSource::compare_a:
      return compares_[0].active;
    case TopSource::capture_register:
      return top_register_;
    case TopSource::fixed:
      break;
  }
  return mode_.fixed_top;
}

bool Timer::counts_both_ways() const noexcept {
  return mode_.counting == Counting::phase_correct ||
         mode_.counting == Counting::phase_and_frequency_correct;
}

/// Timer clocks until the next one that does more than count.
std::uint32_t Timer::ticks_to_event() const noexcept {
  const std::uint32_t count = count_;
  std::uint32_t ticks;
  if (down_)
    ticks = count + 1;
  else if (count <= top())
    ticks = top() - count + 1;
  else
    ticks = counts_both_ways() ? 1 : maximum() - count + 1;
  for (unsigned i = 0; i < channels_; ++i) {
    const Compare& c = compares_[i];
    if (!down_ && c.active >= count) ticks = std::min(ticks, c.active - count + 1);
    if (down_ && c.active <= count) ticks = std::min(ticks, count - c.active + 1);
  }
  return ticks;
}

void Timer::find_next_event() noexcept {
  next_event_ = divisor_ == 0 ? never : last_tick_ + Cycle{ticks_to_event()} * divisor_;
}

void Timer::advance(Cycle to) noexcept {
  if (divisor_ == 0 || to <= last_tick_) return;
  if (to >= next_event_ && !watched()) {
    // Nobody looks at the single events: two periods leave every flag as any number would.
    const Cycle period =
        Cycle{divisor_} * (counts_both_ways() ? 2 * std::max(top(), 1u) : top() + 1);
    const Cycle settled = last_tick_ + 2 * (maximum() + 1) * divisor_ + 2 * period;
    if (to > settled + period) {
      run_to(settled);
      last_tick_ += (to - last_tick_) / period * period;
      find_next_event();
    }
  }
  run_to(to);
}

void Timer::run_to(Cycle to) noexcept {
  while (next_event_ <= to) {
    const Cycle at = next_event_;
    move(static_cast<std::uint32_t>((at - last_tick_) / divisor_) - 1);
    tick(at);
    find_next_event();
  }
  move(static_cast<std::uint32_t>((to - last_tick_) / divisor_));
}

/// Plain counting, no event among these ticks.
void Timer::move(std::uint32_t ticks) noexcept {
  if (ticks == 0) return;
  count_ = static_cast<std::uint16_t>(down_ ? count_ - ticks : count_ + ticks);
  last_tick_ += Cycle{ticks} * divisor_;
  count_was_written_ = false;
}

void Timer::tick(Cycle at) noexcept {
  std::array<bool, 2> match{}, high{};
  for (unsigned i = 0; i < channels_; ++i) {
    match[i] = !count_was_written_ && compares_[i].active == count_;
    high[i] = compares_[i].high;
    if (match[i]) flag(layout_.compare[i].vector, at);
  }
  if (mode_.top_source == TopSource::capture_register && !down_ && count_ == top())
    flag(layout_.capture.vector, at);
  if (counts_both_ways())
    tick_both_ways(match, at);
  else
    tick_one_way(match, at);
  last_tick_ = at;
  count_was_written_ = false;
  if (compares_[0].high != high[0] || compares_[1].high != high[1]) show(at);
}

void Timer::tick_one_way(std::array<bool, 2> match, Cycle at) noexcept {
  const bool pwm = mode_.counting == Counting::fast_pwm;
  const bool wraps = count_ == maximum() || (count_ == top() && mode_.counting != Counting::normal);
  for (unsigned i = 0; i < 2; ++i)
    if (match[i]) matched(compares_[i], false);
  if (!wraps) {
    ++count_;
    return;
  }
  if (pwm || count_ == maximum()) flag(layout_.overflow_vector, at);
  count_ = 0;
  if (!pwm) return;
  take_over_compares();
  for (Compare& c : compares_)
    if (c.com >= 2) c.high = c.com == 2;
}

void Timer::tick_both_ways(std::array<bool, 2> match, Cycle at) noexcept {
  const bool at_top = !down_ && count_ >= top();
  const bool at_bottom = down_ && count_ == 0;
  if (at_bottom) {
    flag(layout_.overflow_vector, at);
    if (mode_.counting == Counting::phase_and_frequency_correct) {
      take_over_compares();
      for (unsigned i = 0; i < channels_; ++i) match[i] = compares_[i].active == 0;
    }
  }
  if (at_top) down_ = true;
  if (at_bottom) down_ = false;
  for (unsigned i = 0; i < 2; ++i)
    if (match[i]) matched(compares_[i], down_);
  if (at_top && mode_.counting == Counting::phase_correct) {
    take_over_compares();
    // To keep the pulse symmetric about BOTTOM the output at TOP is that of an up-counting match of
    // the new value, match or not (datasheet, Phase Correct PWM Mode).
    for (Compare& c : compares_)
      if (c.com >= 2) c.high = (c.com == 2) == (c.active >= top());
  }
  if (down_)
    count_ = static_cast<std::uint16_t>(count_ > 0 ? count_ - 1 : 0);
  else
    ++count_;
}

void Timer::matched(Compare& c, bool counting_down) noexcept {
  if (!c.connected) return;
  if (c.com == 1)
    c.high = !c.high;
  else
    c.high = (c.com == 3) != counting_down;
}

void Timer::take_over_compares() noexcept {
  for (Compare& c : compares_) c.active = c.written;
}

void Timer::flag(unsigned vector, Cycle at) noexcept {
  const auto v = interrupts_.vector(vector);
  const bool rises = !interrupts_.flag(v);
  interrupts_.raise(v);
  if (rises && adc_ != nullptr) adc_->timer_flag(vector, at);
}

void Timer::show(Cycle at) noexcept {
  for (unsigned i = 0; i < channels_; ++i)
    ports_.compare_output(layout_.compare[i].pin, compares_[i].connected, compares_[i].high, at);
}

}  // namespace stillrotor::io::mcu
