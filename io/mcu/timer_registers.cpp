// The register side of the timers. Counting is in timer.cpp.
#include <fmt/core.h>

#include "io/mcu/adc.hpp"
#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {

Timer::Timer(const TimerLayout& layout, Core& core, Interrupts& interrupts, Ports& ports,
             const Prescaler& prescaler)
    : layout_(layout), core_(core), interrupts_(interrupts), ports_(ports), prescaler_(prescaler) {
  core.on_write<&Timer::write_control>(layout.control_a, this);
  core.on_write<&Timer::write_control>(layout.control_b, this);
  core.on_write<&Timer::write_control>(layout.force, this);
  core.on_write<&Timer::write_count>(layout.count, this);
  core.on_read<&Timer::read_count>(layout.count, this);
  core.on_write<&Timer::write_flags>(layout.flags, this);
  core.on_read<&Timer::read_flags>(layout.flags, this);
  core.on_write<&Timer::write_mask>(layout.mask, this);
  for (Address compare : layout.compare) core.on_write<&Timer::write_compare>(compare, this);
  if (!layout.is_16_bit) return;
  for (Address low : {layout.count, layout.compare[0], layout.compare[1], reg::ICR1L})
    core.on_write<&Timer::write_temp>(static_cast<Address>(low + 1), this);
  core.on_read<&Timer::read_count_high>(reg::TCNT1H, this);
  core.on_write<&Timer::write_top>(reg::ICR1L, this);
  core.on_read<&Timer::read_top>(reg::ICR1L, this);
  core.on_read<&Timer::read_count_high>(reg::ICR1H, this);
}

void Timer::reset(Cycle at) noexcept {
  compares_ = {};
  top_register_ = count_ = 0;
  temp_ = 0;
  down_ = count_was_written_ = false;
  last_tick_ = at;
  reconfigure(at);
}

void Timer::reconfigure(Cycle at) noexcept {
  decode();
  divisor_ = divisor();
  if (divisor_ != 0) last_tick_ = at - (at - prescaler_.origin) % divisor_;
  show(at);
  schedule();
}

void Timer::decode() noexcept {
  const std::uint8_t a = core_.reg(layout_.control_a), b = core_.reg(layout_.control_b);
  const unsigned wgm = (a & 3u) | (layout_.is_16_bit ? b >> 1 & 0x0cu : b >> 1 & 0x04u);
  mode_ = layout_.modes[wgm];
  if (mode_.counting == Counting::reserved)
    core_.fail(fmt::format("The firmware sets Timer{} to mode {}, which is reserved, {}.",
                           layout_.name, wgm, core_.where()));
  if (!counts_both_ways()) down_ = false;
  const bool pwm = mode_.counting == Counting::fast_pwm || counts_both_ways();
  if (!pwm) take_over_compares();
  for (unsigned i = 0; i < 2; ++i) {
    compares_[i].com = a >> (6 - 2 * i) & 3;
    const bool as_port = pwm && compares_[i].com == 1 && !(i == 0 && mode_.toggles_a);
    compares_[i].connected = compares_[i].com != 0 && !as_port;
  }
}

unsigned Timer::divisor() const noexcept {
  if (prescaler_.held || (core_.reg(reg::PRR) & layout_.power_reduction)) return 0;
  const std::uint16_t divisor = layout_.divisors[core_.reg(layout_.control_b) & 7];
  return divisor == external_clock ? 0 : divisor;
}

bool Timer::watched() const noexcept {
  return core_.reg(layout_.mask) != 0 || compares_[0].com != 0 || compares_[1].com != 0 ||
         (adc_ != nullptr && adc_->waits_for(layout_));
}

void Timer::schedule() noexcept {
  find_next_event();
  if (divisor_ != 0 && watched())
    core_.schedule<&Timer::on_event>(next_event_, this);
  else
    core_.cancel<&Timer::on_event>(this);
}

void Timer::on_event(Cycle at) noexcept {
  advance(at);
  schedule();
}

void Timer::write_control(const Write& write) noexcept {
  advance(write.at);
  constexpr std::uint8_t force_bits = 0xc0;
  const bool forces = write.address == layout_.force;
  core_.reg(write.address) =
      static_cast<std::uint8_t>(forces ? write.value & ~force_bits : write.value);
  if (layout_.divisors[core_.reg(layout_.control_b) & 7] == external_clock)
    core_.fail(
        fmt::format("The firmware clocks Timer{0} from pin T{0}, which is not modelled, {1}. Use "
                    "the prescaler.",
                    layout_.name, core_.where()));
  reconfigure(write.at);
  if (!forces || (write.value & force_bits) == 0) return;
  force(write.value >> 6);
  show(write.at);
}

/// FOCnA and FOCnB: the effect of a match on the output, without flag; not in PWM modes.
void Timer::force(unsigned channels) noexcept {
  if (mode_.counting != Counting::normal && mode_.counting != Counting::clear_on_compare) return;
  if (channels & 2) matched(compares_[0], false);
  if (channels & 1) matched(compares_[1], false);
}

void Timer::write_compare(const Write& write) noexcept {
  advance(write.at);
  Compare& c = compares_[write.address == layout_.compare[0] ? 0 : 1];
  core_.reg(write.address) = write.value;
  c.written = write.value;
  if (layout_.is_16_bit) {
    core_.reg(static_cast<Address>(write.address + 1)) = temp_;
    c.written = static_cast<std::uint16_t>(write.value | temp_ << 8);
  }
  if (mode_.counting == Counting::normal || mode_.counting == Counting::clear_on_compare)
    c.active = c.written;
  schedule();
}

void Timer::write_count(const Write& write) noexcept {
  advance(write.at);
  count_ = static_cast<std::uint16_t>(write.value | (layout_.is_16_bit ? temp_ << 8 : 0));
  count_was_written_ = true;
  schedule();
}

void Timer::write_top(const Write& write) noexcept {
  advance(write.at);
  top_register_ = static_cast<std::uint16_t>(write.value | temp_ << 8);
  schedule();
}

void Timer::write_temp(const Write& write) noexcept { temp_ = write.value; }

void Timer::write_flags(const Write& write) noexcept {
  advance(write.at);
  interrupts_.write_flags(write);
}

void Timer::write_mask(const Write& write) noexcept {
  advance(write.at);
  constexpr std::uint8_t capture_enable = 0x20;
  if (layout_.is_16_bit && (write.value & capture_enable) &&
      mode_.top_source != TopSource::capture_register)
    core_.fail(
        fmt::format("The firmware uses the input capture of Timer1, which is not modelled, {}.",
                    core_.where()));
  interrupts_.write_mask(write);
  schedule();
}

std::uint8_t Timer::read_count(Address, Cycle at) noexcept {
  advance(at);
  temp_ = static_cast<std::uint8_t>(layout_.is_16_bit ? count_ >> 8 : temp_);
  return static_cast<std::uint8_t>(count_);
}

std::uint8_t Timer::read_count_high(Address, Cycle) noexcept { return temp_; }

std::uint8_t Timer::read_top(Address, Cycle) noexcept {
  temp_ = static_cast<std::uint8_t>(top_register_ >> 8);
  return static_cast<std::uint8_t>(top_register_);
}

std::uint8_t Timer::read_flags(Address address, Cycle at) noexcept {
  if (at >= next_event_) advance(at);
  return core_.reg(address);
}

}  // namespace stillrotor::io::mcu
