#include "io/mcu/cortexm/watchdogs.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { KR = 0x00, PR = 0x04, RLR = 0x08, IWDG_SR = 0x0c };
enum : Word { CR = 0x00, CFR = 0x04, SR = 0x08 };
constexpr Word key_start = 0xCCCC, key_reload = 0xAAAA, key_open = 0x5555;
constexpr std::int64_t oscillator_Hz = 32'000, ps_per_s = 1'000'000'000'000;

}  // namespace

IndependentWatchdog::IndependentWatchdog(Core& core, ClockTree& clocks, Bite bite)
    : core_(core),
      clocks_(clocks),
      bite_(std::move(bite)),
      event_(core.scheduler().make<&IndependentWatchdog::on_zero>(this)) {
  clocks.follow(*this);
}

void IndependentWatchdog::reset(Cycle) noexcept {
  running_ = open_ = false;
  prescaler_ = 0;
  reload_ = 0xfff;
  core_.scheduler().at(event_, never);
}

void IndependentWatchdog::reload(Cycle at) noexcept {
  const std::int64_t divider = std::int64_t{4} << std::min<Word>(prescaler_, 6);
  zero_ =
      clocks_.time_at(at) + Time{ps_per_s / oscillator_Hz * divider * (std::int64_t{reload_} + 1)};
  clock_changed(at);
}

void IndependentWatchdog::clock_changed(Cycle) noexcept {
  if (running_) core_.scheduler().at(event_, clocks_.cycle_at(zero_));
}

void IndependentWatchdog::on_zero(Cycle) noexcept { bite_(ResetCause::watchdog); }

Word IndependentWatchdog::read(Word offset, Cycle) noexcept {
  return offset == PR ? prescaler_ : offset == RLR ? reload_ : 0;
}

void IndependentWatchdog::write(Word offset, Word value, Word, Cycle at) noexcept {
  switch (offset) {
    case KR:
      open_ = (value & 0xffff) == key_open;
      if ((value & 0xffff) == key_start) running_ = true;
      if (running_ && ((value & 0xffff) == key_reload || (value & 0xffff) == key_start)) reload(at);
      break;
    case PR:
      if (open_) prescaler_ = value & 7;
      break;
    case RLR:
      if (open_) reload_ = value & 0xfff;
      break;
    default:
      break;
  }
}

WindowWatchdog::WindowWatchdog(Core& core, ClockTree& clocks, unsigned interrupt, Bite bite)
    : core_(core),
      clocks_(clocks),
      interrupt_(interrupt),
      bite_(std::move(bite)),
      event_(core.scheduler().make<&WindowWatchdog::on_step>(this)) {
  clocks.follow(*this);
}

void WindowWatchdog::reset(Cycle) noexcept {
  control_ = configuration_ = 0x7f;
  early_ = false;
  core_.scheduler().at(event_, never);
  core_.exceptions().set_line(interrupt_, false);
}

Cycle WindowWatchdog::tick() const noexcept {
  return (Cycle{4096} << (configuration_ >> 7 & 3)) * clocks_.bus_divider(false);
}

Word WindowWatchdog::count(Cycle at) const noexcept {
  if (!(control_ & running)) return control_ & 0x7f;
  const Cycle gone = (at - since_) / tick_;
  return static_cast<Word>((control_ & 0x7f) - std::min<Cycle>(gone, control_ & 0x7f));
}

/// The next of: the early interrupt at 0x40, the bite at 0x3F.
void WindowWatchdog::plan(Cycle at) noexcept {
  since_ = at;
  tick_ = tick();
  if (!(control_ & running)) return;
  const Word t = control_ & 0x7f;
  const Word steps = t > last ? t - last : 1;
  core_.scheduler().at(event_, at + steps * tick_);
}

void WindowWatchdog::clock_changed(Cycle at) noexcept {
  control_ = (control_ & running) | count(at);
  plan(at);
}

void WindowWatchdog::on_step(Cycle at) noexcept {
  control_ = (control_ & running) | count(at);
  if ((control_ & 0x7f) < last) {
    bite_(ResetCause::window_watchdog);
    return;
  }
  early_ = true;
  core_.exceptions().set_line(interrupt_, (configuration_ & early_interrupt) != 0);
  plan(at);
}

Word WindowWatchdog::read(Word offset, Cycle at) noexcept {
  switch (offset) {
    case CR:
      return (control_ & running) | count(at);
    case CFR:
      return configuration_;
    case SR:
      return early_;
    default:
      return 0;
  }
}

void WindowWatchdog::write(Word offset, Word value, Word, Cycle at) noexcept {
  switch (offset) {
    case CR:
      // Too early, or to a count that is over: it bites at once.
      if ((control_ & running) && count(at) > (configuration_ & 0x7f)) {
        bite_(ResetCause::window_watchdog);
        return;
      }
      control_ = (control_ & running) | (value & 0xff);
      if ((control_ & running) && !(control_ & last)) {
        bite_(ResetCause::window_watchdog);
        return;
      }
      plan(at);
      break;
    case CFR:
      control_ = (control_ & running) | count(at);
      configuration_ = (value & 0x3ff) | (configuration_ & early_interrupt);
      plan(at);
      break;
    case SR:
      if (!(value & 1)) {
        early_ = false;
        core_.exceptions().set_line(interrupt_, false);
      }
      break;
    default:
      break;
  }
}

}  // namespace stillrotor::io::cortexm
