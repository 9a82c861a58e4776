#include "io/mcu/adc.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "io/mcu/comparator.hpp"
#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr unsigned free_running = 0, timer0_compare_a = 3, timer0_overflow = 4,
                   timer1_compare_b = 5, timer1_overflow = 6, timer1_capture = 7;
constexpr double bandgap_V = 1.1;
constexpr double temperature_sensor_V = 0.314;  // at 25 degC (datasheet, Temperature Measurement)
constexpr Cycle trigger_synchronisation = 3;

/// The trigger source (ADTS) a vector belongs to; free_running: none.
constexpr unsigned source_of(unsigned vector) {
  switch (vector) {
    case vect::TIMER0_COMPA:
      return timer0_compare_a;
    case vect::TIMER0_OVF:
      return timer0_overflow;
    case vect::TIMER1_COMPB:
      return timer1_compare_b;
    case vect::TIMER1_OVF:
      return timer1_overflow;
    case vect::TIMER1_CAPT:
      return timer1_capture;
    default:
      return free_running;
  }
}

}  // namespace

Adc::Adc(Core& core, Interrupts& interrupts, Outside& outside, const AnalogInputs& channels,
         Comparator& comparator)
    : core_(core),
      interrupts_(interrupts),
      outside_(outside),
      channels_(channels),
      comparator_(comparator),
      vector_(interrupts.vector(vect::ADC)) {
  core.on_write<&Adc::write_control>(reg::ADCSRA, this);
  core.on_write<&Adc::write_trigger>(reg::ADCSRB, this);
  core.on_write<&Adc::write_multiplexer>(reg::ADMUX, this);
  core.on_read<&Adc::read_low>(reg::ADCL, this);
  core.on_read<&Adc::read_high>(reg::ADCH, this);
}

void Adc::reset() noexcept {
  first_ = true;
  triggered_ = held_ = false;
  mux_ = 0;
  sampled_ = result_ = 0;
}

unsigned Adc::trigger_source() const noexcept { return core_.reg(reg::ADCSRB) & 7; }

bool Adc::auto_triggers() const noexcept {
  constexpr std::uint8_t on = bits::ADEN | bits::ADATE;
  return (core_.reg(reg::ADCSRA) & on) == on;
}

unsigned Adc::clock_divisor() const noexcept {
  return 1u << std::max(core_.reg(reg::ADCSRA) & 7, 1);
}

bool Adc::waits_for(const TimerLayout& timer) const noexcept {
  if (!auto_triggers()) return false;
  const unsigned source = trigger_source();
  return (timer.name == '0' && (source == timer0_compare_a || source == timer0_overflow)) ||
         (timer.name == '1' && source >= timer1_compare_b);
}

void Adc::timer_flag(unsigned vector, Cycle at) noexcept {
  const unsigned source = source_of(vector);
  if (source == free_running || !auto_triggers() || source != trigger_source()) return;
  if (core_.reg(reg::ADCSRA) & bits::ADSC) return;  // busy: the trigger is lost
  core_.reg(reg::ADCSRA) |= bits::ADSC;
  triggered_ = true;
  on_start(at);  // the trigger resets the ADC's prescaler: it starts here
}

void Adc::write_control(const Write& write) noexcept {
  using namespace bits;
  const std::uint8_t before = core_.reg(reg::ADCSRA);
  if (write.value & ADIF) interrupts_.clear(vector_);
  auto now = static_cast<std::uint8_t>((write.value & ~ADIF) | (core_.reg(reg::ADCSRA) & ADIF));
  if (!(now & ADEN)) {
    now &= static_cast<std::uint8_t>(~ADSC);
    core_.cancel<&Adc::on_start>(this);
    core_.cancel<&Adc::on_sample>(this);
    core_.cancel<&Adc::on_ready>(this);
  } else if (before & ADSC) {
    now |= ADSC;  // writing zero has no effect
  }
  core_.reg(reg::ADCSRA) = now;
  if ((before ^ now) & ADEN) comparator_.inputs_changed(write.at);
  if (!(before & ADEN) && (now & ADEN)) {
    enabled_at_ = write.at;
    first_ = true;
  }
  if (!(before & ADSC) && (now & ADSC)) {
    triggered_ = false;
    begin(write.at);
  }
  if (!(before & ADIE)) interrupts_.raise_if_due(vector_);
  check_trigger();
}

void Adc::write_trigger(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  comparator_.inputs_changed(write.at);
  check_trigger();
}

/// A conversion reads it when it starts.
void Adc::write_multiplexer(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  comparator_.inputs_changed(write.at);
}

void Adc::check_trigger() noexcept {
  const unsigned source = trigger_source();
  if (auto_triggers() && (source == 1 || source == 2))
    core_.fail(fmt::format("The firmware starts the ADC by {}, which is not modelled, {}.",
                           source == 1 ? "the analog comparator" : "INT0", core_.where()));
  for (Timer* timer : timers_)
    if (timer != nullptr) timer->watchers_changed(core_.now());
}

/// The conversion starts at the next edge of the ADC clock, which runs since ADEN was set.
void Adc::begin(Cycle at) noexcept {
  const Cycle divisor = clock_divisor();
  core_.schedule<&Adc::on_start>(at + divisor - (at - enabled_at_) % divisor, this);
}

void Adc::on_start(Cycle at) noexcept {
  mux_ = core_.reg(reg::ADMUX);
  const Cycle divisor = clock_divisor();
  Cycle sample = divisor * 3 / 2, ready = divisor * 13;
  if (first_) {
    sample = divisor * 27 / 2;
    ready = divisor * 25;
  } else if (triggered_) {
    sample = divisor * 2 + trigger_synchronisation;
    ready = divisor * 27 / 2 + trigger_synchronisation;
  }
  core_.schedule<&Adc::on_sample>(at + sample, this);
  core_.schedule<&Adc::on_ready>(at + ready, this);
}

double Adc::input_V(Cycle at) noexcept {
  switch (const unsigned input = mux_ & 15u) {
    case 8:
      return temperature_sensor_V;
    case 14:
      return bandgap_V;
    default:
      if (input > 7 || !channels_[input]) return 0.0;
      return outside_.volts(*channels_[input], at);
  }
}

void Adc::on_sample(Cycle at) noexcept {
  const double reference_V = (mux_ >> 6) == 3 ? bandgap_V : outside_.supply_V();
  const double steps = std::floor(input_V(at) * 1024.0 / reference_V);
  sampled_ = static_cast<std::uint16_t>(steps >= 1023.0 ? 1023.0 : steps >= 0.0 ? steps : 0.0);
}

void Adc::on_ready(Cycle at) noexcept {
  first_ = false;
  if (!held_) result_ = sampled_;  // while the result is being read, a new one is lost
  if (auto_triggers() && trigger_source() == free_running) {
    triggered_ = false;
    on_start(at);
  } else {
    core_.reg(reg::ADCSRA) &= static_cast<std::uint8_t>(~bits::ADSC);
  }
  interrupts_.raise(vector_);
}

std::uint16_t Adc::presented() const noexcept {
  return static_cast<std::uint16_t>(core_.reg(reg::ADMUX) & bits::ADLAR ? result_ << 6 : result_);
}

std::uint8_t Adc::read_low(Address, Cycle) noexcept {
  held_ = true;
  return static_cast<std::uint8_t>(presented());
}

std::uint8_t Adc::read_high(Address, Cycle) noexcept {
  held_ = false;
  return static_cast<std::uint8_t>(presented() >> 8);
}

}  // namespace stillrotor::io::mcu
