// The register side of the timers. Counting is in timer.cpp.
#include <fmt/core.h>

#include "io/mcu/adc.hpp"
#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {

Timer::Timer(const TimerLayout& layout, Core& core, Interrupts& interrupts, Ports& ports,
             const Prescaler& prescaler)
    : layout_(layout),
      core_(core),
      interrupts_(interrupts),
      ports_(ports),
      prescaler_(prescaler),
      channels_((layout.compare[0].compare != no_register) +
                (layout.compare[1].compare != no_register)) {
  core.on_write<&Timer::write_control>(layout.clock_select, this);
  for (const Bits bit : layout.mode) core.on_write<&Timer::write_control>(bit.at, this);
  core.on_write<&Timer::write_count>(layout.count, this);
  core.on_read<&Timer::read_count>(layout.count, this);
  for (const CompareLayout& compare : layout.compare) {
    core.on_write<&Timer::write_control>(compare.mode, this);
    core.on_write<&Timer::write_control>(compare.force.at, this);
    core.on_write<&Timer::write_compare>(compare.compare, this);
  }
  if (!layout.is_16_bit) return;
  const auto high = [](Address low) { return static_cast<Address>(low + 1); };
  const Address top = layout.capture.value;
  for (const Address low :
       {layout.count, layout.compare[0].compare, layout.compare[1].compare, top})
    core.on_write<&Timer::write_temp>(high(low), this);
  core.on_read<&Timer::read_count_high>(high(layout.count), this);
  core.on_write<&Timer::write_top>(top, this);
  core.on_read<&Timer::read_top>(top, this);
  core.on_read<&Timer::read_count_high>(high(top), this);
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
  unsigned wgm = 0;
  for (unsigned i = 0; i < layout_.mode.size(); ++i)
    if (is_set(layout_.mode[i])) wgm |= 1u << i;
  mode_ = layout_.modes[wgm];
  if (mode_.counting == Counting::reserved)
    core_.fail(fmt::format("The firmware sets Timer{} to mode {}, which is reserved, {}.",
                           layout_.name, wgm, core_.where()));
  if (!counts_both_ways()) down_ = false;
  const bool pwm = mode_.counting == Counting::fast_pwm || counts_both_ways();
  if (!pwm) take_over_compares();
  for (unsigned i = 0; i < channels_; ++i) {
    compares_[i].com = core_.reg(layout_.compare[i].mode) >> layout_.compare[i].mode_shift & 3;
    const bool as_port = pwm && compares_[i].com == 1 && !(i == 0 && mode_.toggles_a);
    compares_[i].connected = compares_[i].com != 0 && !as_port;
  }
}

unsigned Timer::divisor() const noexcept {
  if (prescaler_.held || is_set(layout_.power_reduction)) return 0;
  const std::uint16_t divisor = layout_.divisors[core_.reg(layout_.clock_select) & 7];
  return divisor == external_clock ? 0 : divisor;
}

bool Timer::watched() const noexcept {
  return (core_.reg(layout_.mask) & layout_.interrupts) != 0 || compares_[0].com != 0 ||
         compares_[1].com != 0 || (adc_ != nullptr && adc_->waits_for(layout_));
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
  std::uint8_t strobes = 0;  // read as zero
  for (const CompareLayout& compare : layout_.compare)
    if (compare.force.at == write.address) strobes |= compare.force.mask;
  core_.reg(write.address) = static_cast<std::uint8_t>(write.value & ~strobes);
  if (layout_.divisors[core_.reg(layout_.clock_select) & 7] == external_clock)
    core_.fail(
        fmt::format("The firmware clocks Timer{0} from pin T{0}, which is not modelled, {1}. Use "
                    "the prescaler.",
                    layout_.name, core_.where()));
  reconfigure(write.at);
  if ((write.value & strobes) == 0) return;
  for (unsigned i = 0; i < channels_; ++i)
    if (layout_.compare[i].force.at == write.address &&
        (write.value & layout_.compare[i].force.mask))
      force(i);
  show(write.at);
}

/// FOCnA and FOCnB: the effect of a match on the output, without flag; not in PWM modes.
void Timer::force(unsigned channel) noexcept {
  if (mode_.counting == Counting::normal || mode_.counting == Counting::clear_on_compare)
    matched(compares_[channel], false);
}

void Timer::write_compare(const Write& write) noexcept {
  advance(write.at);
  Compare& c = compares_[write.address == layout_.compare[0].compare ? 0 : 1];
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

void Timer::capture(bool high, Cycle at) noexcept {
  const CaptureLayout& capture = layout_.capture;
  // While ICR is TOP the pin is disconnected.
  if (mode_.top_source == TopSource::capture_register || high != is_set(capture.rising)) return;
  constexpr Cycle noise_canceler = 4;
  if (is_set(capture.cancel_noise))
    core_.schedule<&Timer::on_capture>(at + noise_canceler, this);
  else
    on_capture(at);
}

void Timer::on_capture(Cycle at) noexcept {
  const bool high = compared_ ? *compared_ : ports_.is_high(layout_.capture.pin);
  if (high != is_set(layout_.capture.rising)) return;
  advance(at);
  top_register_ = count_;
  flag(layout_.capture.vector, at);
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

}  // namespace stillrotor::io::mcu
