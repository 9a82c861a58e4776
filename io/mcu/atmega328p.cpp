#include "io/mcu/atmega328p.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstring>

namespace stillrotor::io::mcu {
namespace {

constexpr double absolute_maximum_V = 6.0;  // datasheet, Absolute Maximum Ratings
constexpr double brown_out_V = 2.7;         // BODLEVEL 101, typical (datasheet, System and Reset)
constexpr unsigned response_cycles = 4, wake_cycles = 4;
constexpr std::uint16_t jump_to_itself = 0xcfff;  // rjmp .-2
constexpr std::uint8_t power_on_flag = 0x01;      // MCUSR.PORF

}  // namespace

Atmega328p::Atmega328p(std::uint32_t clock_Hz, const Connections& connections,
                       const Firmware& firmware)
    : core_("atmega328p", clock_Hz),
      outside_(Clock(1'000'000'000'000 / clock_Hz)),
      interrupts_(core_),
      ports_(core_, interrupts_, outside_, connections.lines),
      timer0_(timer0_layout, core_, interrupts_, ports_, prescaler_01_),
      timer1_(timer1_layout, core_, interrupts_, ports_, prescaler_01_),
      timer2_(timer2_layout, core_, interrupts_, ports_, prescaler_2_),
      comparator_(core_, interrupts_, outside_, connections.analog,
                  connections.comparator_hysteresis_V),
      adc_(core_, interrupts_, outside_, connections.analog, comparator_),
      usart_(core_, interrupts_, outside_, ports_),
      unmodelled_(core_, ports_),
      undisturbed_run_(core_.avr()->run) {
  timer0_.connect(&adc_);
  timer1_.connect(&adc_);
  adc_.connect({&timer0_, &timer1_});
  core_.on_write<&Atmega328p::write_prescaler_control>(reg::GTCCR, this);
  core_.on_write<&Atmega328p::write_power_reduction>(reg::PRR, this);
  std::memcpy(core_.avr()->flash, firmware.flash.data(), firmware.flash.size());
  if (!firmware.eeprom.empty()) {
    auto content = firmware.eeprom;  // simavr's interface is not const
    avr_eeprom_desc_t eeprom{content.data(), 0, static_cast<std::uint32_t>(content.size())};
    avr_ioctl(core_.avr(), AVR_IOCTL_EEPROM_SET, &eeprom);
  }
}

void Atmega328p::power(double volts, Time at, World& world) {
  if (!(volts >= 0.0 && volts <= absolute_maximum_V))
    throw ConfigError(
        "controller.supply",
        fmt::format("supply is {} V; this part stands 0 V to {} V.", volts, absolute_maximum_V));
  const bool is_new = outside_.connect(world, volts);
  const bool on = volts >= brown_out_V;
  const Cycle cycle = std::max(core_.now(), outside_.clock().at_or_after(at));
  if (on != powered_) {
    powered_ = on;
    health_ = Health::running;
    diagnosis_.clear();
    core_.clear_failure();
    if (!on) usart_.flush(cycle);
    core_.avr()->cycle = cycle;
    restart(cycle, true);
  }
  if (is_new) ports_.announce(cycle);
  outside_.tell_edges(Time::max());
}

void Atmega328p::restart(Cycle at, bool power_on) noexcept {
  avr_t* avr = core_.avr();
  if (power_on) {
    avr_reset(avr);
    std::memset(avr->data, 0, 32);
    std::memset(avr->data + avr->ioend + 1, 0, avr->ramend - avr->ioend);
    core_.reg(reg::MCUSR) = power_on_flag;
  }
  avr->run_cycle_limit = ~avr_cycle_count_t{0};
  prescaler_01_ = prescaler_2_ = Prescaler{at, false};
  ports_.reset(at);
  for (Timer* timer : {&timer0_, &timer1_, &timer2_}) timer->reset(at);
  comparator_.reset();
  adc_.reset();
  usart_.reset();
  if (powered_) ports_.read_wires(at);
}

Time Atmega328p::run(Time horizon) noexcept {
  avr_t* avr = core_.avr();
  const Cycle end_cycle = std::max(outside_.clock().at_or_after(horizon), avr->cycle);
  const std::uint64_t told_before = outside_.edges_told();
  const auto drove = [&] { return outside_.has_edges() || outside_.edges_told() != told_before; };
  if (powered_ && !drove()) {
    core_.clear_stop();
    check_for_standstill();
    core_.schedule<&Atmega328p::on_horizon>(end_cycle, this);
    comparator_.begin_stretch(horizon);
    while (avr->cycle < end_cycle && !drove() && avr->state != cpu_Crashed) step();
    if (avr->state == cpu_Crashed && health_ == Health::running) {
      usart_.flush(avr->cycle);
      end(Health::crashed, core_.failure());
    }
  }
  if (outside_.has_edges()) {
    // Edges of different instants inside one instruction are told in different calls.
    if (outside_.edges_told() != told_before) return outside_.last_contact();
    const Time first = outside_.next_edge();
    if (first > horizon) return horizon;  // of an instruction that reaches beyond the horizon
    outside_.tell_edges(first);
    return first;
  }
  if (!drove()) avr->cycle = std::max(avr->cycle, end_cycle);  // no power, or crashed
  return outside_.clock().time(avr->cycle);
}

void Atmega328p::step() noexcept {
  avr_t* avr = core_.avr();
  const bool asleep = avr->state == cpu_Sleeping;
  if (asleep) {
    // The next event; the horizon is one.
    avr->cycle = std::max(avr->cycle, avr->cycle_timers.timer->when);
    avr_cycle_timer_process(avr);
  } else {
    const avr_flashaddr_t next_pc = avr_run_one(avr);  // as many as fit before the next event
    avr_cycle_timer_process(avr);
    avr->pc = next_pc;
    if (avr->state == cpu_Sleeping) fall_asleep();
  }
  if (avr->run != undisturbed_run_) {
    usart_.flush(avr->cycle);
    avr->run(avr);
    restart(avr->cycle, false);
    return;
  }
  if (avr->interrupt_state != 0 && avr->state == cpu_Running) service_interrupts(asleep);
}

void Atmega328p::service_interrupts(bool out_of_sleep) noexcept {
  avr_t* avr = core_.avr();
  if (avr->interrupt_state < 0) {
    // simavr holds interrupts back for two instructions after SEI and RETI; the part for one.
    if (++avr->interrupt_state < 0) return;
  }
  if (!avr_has_pending_interrupts(avr)) {
    avr->interrupt_state = 0;
    return;
  }
  avr->interrupt_state = 1;
  avr_service_interrupts(avr);
  const bool entered = !avr->sreg[S_I];
  if (!entered) return;
  avr->cycle += response_cycles + (out_of_sleep ? wake_cycles : 0);
  avr_cycle_timer_process(avr);  // what happens meanwhile
}

void Atmega328p::fall_asleep() noexcept {
  avr_t* avr = core_.avr();
  const std::uint8_t control = core_.reg(reg::SMCR);
  if (!(control & bits::SE)) {
    avr->state = cpu_Running;  // SLEEP does nothing then
  } else if (control & bits::SM) {
    core_.fail(
        fmt::format("The firmware enters sleep mode {}, which stops clocks and is not "
                    "modelled, {}. Idle (0) is.",
                    (control & bits::SM) >> 1, core_.where()));
  } else if (!avr->sreg[S_I] && !watchdog_runs()) {
    end(Health::exited, fmt::format("The firmware sleeps with interrupts off: only a reset would "
                                    "wake it, {}.",
                                    core_.where()));
  }
}

/// A jump to itself with interrupts off is where a C program ends (abort, exit).
void Atmega328p::check_for_standstill() noexcept {
  const avr_t* avr = core_.avr();
  const std::uint8_t* code = avr->flash + avr->pc;
  if ((code[0] | code[1] << 8) != jump_to_itself || avr->sreg[S_I] || watchdog_runs() ||
      avr->state != cpu_Running || health_ != Health::running)
    return;
  end(Health::hung, fmt::format("The firmware jumps to itself with interrupts off: only a reset "
                                "would free it, {}.",
                                core_.where()));
}

bool Atmega328p::watchdog_runs() const noexcept {
  return core_.reg(reg::WDTCSR) & (bits::WDE | bits::WDIE);
}

void Atmega328p::end(Health health, std::string sentence) noexcept {
  if (health_ != Health::running) return;
  health_ = health;
  diagnosis_ = std::move(sentence);
}

void Atmega328p::deliver(const Edge& edge) noexcept {
  if (outside_.has_world()) ports_.deliver(edge);
}

/// GTCCR: resets prescalers; with TSM they stay reset and their timers stand.
void Atmega328p::write_prescaler_control(const Write& write) noexcept {
  using namespace bits;
  for (Timer* timer : {&timer0_, &timer1_, &timer2_}) timer->advance(write.at);
  const bool hold = write.value & TSM;
  const auto apply = [&](Prescaler& prescaler, std::uint8_t bit) {
    if ((write.value & bit) || prescaler.held) prescaler.origin = write.at;
    prescaler.held = hold && (write.value & bit);
  };
  apply(prescaler_01_, PSRSYNC);
  apply(prescaler_2_, PSRASY);
  core_.reg(write.address) =
      static_cast<std::uint8_t>(hold ? write.value & (TSM | PSRASY | PSRSYNC) : 0);
  for (Timer* timer : {&timer0_, &timer1_, &timer2_}) timer->reconfigure(write.at);
}

void Atmega328p::write_power_reduction(const Write& write) noexcept {
  for (Timer* timer : {&timer0_, &timer1_, &timer2_}) timer->advance(write.at);
  core_.reg(write.address) = write.value;
  for (Timer* timer : {&timer0_, &timer1_, &timer2_}) timer->reconfigure(write.at);
}

}  // namespace stillrotor::io::mcu
