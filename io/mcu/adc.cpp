#include "io/mcu/adc.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "io/mcu/comparator.hpp"
#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr unsigned free_running = 0, by_comparator = 1;
constexpr Cycle trigger_synchronisation = 3;

}  // namespace

Adc::Adc(const ConverterLayout& layout, Core& core, Interrupts& interrupts, Outside& outside,
         const AnalogInputs& channels, Comparator& comparator)
    : layout_(layout),
      core_(core),
      interrupts_(interrupts),
      outside_(outside),
      channels_(channels),
      comparator_(comparator),
      vector_(interrupts.vector(layout.vector)) {
  core.on_write<&Adc::write_control>(layout_.control, this);
  core.on_write<&Adc::write_multiplexer>(layout_.multiplexer, this);
  core.on_read<&Adc::read_low>(layout_.low, this);
  core.on_read<&Adc::read_high>(layout_.high, this);
}

void Adc::reset() noexcept {
  first_ = true;
  triggered_ = held_ = false;
  mux_ = 0;
  sampled_ = result_ = 0;
}

unsigned Adc::trigger_source() const noexcept {
  return core_.reg(layout_.trigger.at) & layout_.trigger.mask;
}

bool Adc::auto_triggers() const noexcept {
  constexpr std::uint8_t on = bits::ADEN | bits::ADATE;
  return (core_.reg(layout_.control) & on) == on;
}

unsigned Adc::clock_divisor() const noexcept {
  return 1u << std::max(core_.reg(layout_.control) & 7, 1);
}

bool Adc::waits_for(const TimerLayout& timer) const noexcept {
  const unsigned vector = layout_.trigger_vectors[trigger_source()];
  return vector != 0 && auto_triggers() &&
         (vector == timer.overflow_vector || vector == timer.capture.vector ||
          vector == timer.compare[0].vector || vector == timer.compare[1].vector);
}

void Adc::timer_flag(unsigned vector, Cycle at) noexcept {
  const unsigned source = trigger_source();
  if (source == free_running || layout_.trigger_vectors[source] != vector || !auto_triggers())
    return;
  if (core_.reg(layout_.control) & bits::ADSC) return;  // busy: the trigger is lost
  core_.reg(layout_.control) |= bits::ADSC;
  triggered_ = true;
  on_start(at);  // the trigger resets the ADC's prescaler: it starts here
}

void Adc::write_control(const Write& write) noexcept {
  using namespace bits;
  const std::uint8_t before = core_.reg(layout_.control);
  if (write.value & ADIF) interrupts_.clear(vector_);
  auto now = static_cast<std::uint8_t>((write.value & ~ADIF) | (core_.reg(layout_.control) & ADIF));
  if (!(now & ADEN)) {
    now &= static_cast<std::uint8_t>(~ADSC);
    core_.cancel<&Adc::on_start>(this);
    core_.cancel<&Adc::on_sample>(this);
    core_.cancel<&Adc::on_ready>(this);
  } else if (before & ADSC) {
    now |= ADSC;  // writing zero has no effect
  }
  core_.reg(layout_.control) = now;
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
  trigger_changed();
}

/// A conversion reads it when it starts.
void Adc::write_multiplexer(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  comparator_.inputs_changed(write.at);
}

void Adc::trigger_changed() noexcept {
  const unsigned source = trigger_source();
  if (auto_triggers() && source != free_running && layout_.trigger_vectors[source] == 0)
    core_.fail(fmt::format("The firmware starts the ADC by {}, which is not modelled, {}.",
                           source == by_comparator ? "the analog comparator" : "INT0",
                           core_.where()));
  for (Timer* timer : timers_)
    if (timer != nullptr) timer->watchers_changed(core_.now());
}

/// The conversion starts at the next edge of the ADC clock, which runs since ADEN was set.
void Adc::begin(Cycle at) noexcept {
  const Cycle divisor = clock_divisor();
  core_.schedule<&Adc::on_start>(at + divisor - (at - enabled_at_) % divisor, this);
}

void Adc::on_start(Cycle at) noexcept {
  mux_ = core_.reg(layout_.multiplexer);
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
      return layout_.temperature_V;
    case 14:
      return layout_.bandgap_V;
    default:
      if (input > 7 || !channels_[input]) return 0.0;
      return outside_.volts(*channels_[input], at);
  }
}

void Adc::on_sample(Cycle at) noexcept {
  const double reference_V = (mux_ >> 6) == 3 ? layout_.internal_V : outside_.supply_V();
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
    core_.reg(layout_.control) &= static_cast<std::uint8_t>(~bits::ADSC);
  }
  interrupts_.raise(vector_);
}

std::uint16_t Adc::presented() const noexcept {
  return static_cast<std::uint16_t>(core_.reg(layout_.multiplexer) & bits::ADLAR ? result_ << 6
                                                                                 : result_);
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
