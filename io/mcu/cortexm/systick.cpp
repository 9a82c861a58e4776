#include "io/mcu/cortexm/systick.hpp"

namespace stillrotor::io::cortexm {

SysTick::SysTick(Exceptions& exceptions, Scheduler& scheduler, unsigned divider)
    : exceptions_(exceptions),
      scheduler_(scheduler),
      divider_(divider),
      event_(scheduler.make<&SysTick::on_zero>(this)) {}

void SysTick::reset() noexcept {
  control_ = load_ = from_ = 0;
  counted_ = false;
  scheduler_.at(event_, never);
}

Word SysTick::count(Cycle at) const noexcept {
  if (!(control_ & on)) return from_;
  const Cycle gone = (at - since_) / tick();
  if (gone <= from_) return from_ - static_cast<Word>(gone);
  // From zero, the next clock loads.
  const Cycle position = (gone - from_ - 1) % (Cycle{load_} + 1);
  return load_ - static_cast<Word>(position);
}

/// From that count on. LOAD 0 stands still at zero and counts nothing (B3.3.1).
void SysTick::restart(Word count, Cycle at) noexcept {
  from_ = count;
  since_ = at;
  const Cycle to_zero = count != 0 ? count : load_ != 0 ? Cycle{load_} + 1 : 0;
  scheduler_.at(event_, (control_ & on) && to_zero != 0 ? at + to_zero * tick() : never);
}

void SysTick::on_zero(Cycle when) noexcept {
  counted_ = true;
  if (control_ & interrupts) exceptions_.pend(exception::system_tick);
  restart(0, when);
}

Word SysTick::control(Cycle) noexcept {
  const Word value = control_ | Word{counted_} << 16;
  counted_ = false;
  return value;
}
void SysTick::set_control(Word value, Cycle at) noexcept {
  const Word now = count(at);
  control_ = value & 7;
  restart(now, at);
}
void SysTick::set_load(Word value, Cycle at) noexcept {
  const Word now = count(at);
  load_ = value & 0xffffff;
  restart(now, at);
}
void SysTick::clear_count(Cycle at) noexcept {
  counted_ = false;
  restart(0, at);
}

}  // namespace stillrotor::io::cortexm
