#include "io/mcu/microcontroller.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstring>

#include "io/mcu/elf.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr double absolute_maximum_V = 6.0;  // datasheet, Absolute Maximum Ratings
constexpr double brown_out_V = 2.7;         // BODLEVEL 101, typical (datasheet, System and Reset)
constexpr unsigned response_cycles = 4, wake_cycles = 4;
constexpr std::uint16_t jump_to_itself = 0xcfff;  // rjmp .-2
constexpr std::uint8_t power_on_flag = 0x01;      // MCUSR.PORF

}  // namespace

Microcontroller::Microcontroller(const Part& part, std::uint32_t clock_Hz,
                                 const Connections& connections, const Firmware& firmware,
                                 const std::vector<SettingChange>& changes)
    : part_(part),
      core_(part, clock_Hz),
      outside_(Clock(1'000'000'000'000 / clock_Hz)),
      interrupts_(core_, part.external),
      ports_(part, core_, interrupts_, outside_, connections.lines),
      timer0_(part.timers[0], core_, interrupts_, ports_, prescaler_01_),
      timer1_(part.timers[1], core_, interrupts_, ports_, prescaler_01_),
      timer2_(part.timers[2], core_, interrupts_, ports_, prescaler_2_),
      comparator_(part, core_, interrupts_, outside_, connections.analog,
                  connections.comparator_hysteresis_V),
      adc_(part.converter, core_, interrupts_, outside_, connections.analog, comparator_),
      usart_(part.usart, core_, interrupts_, outside_, ports_),
      unmodelled_(part.power, core_, ports_),
      undisturbed_run_(core_.avr()->run),
      file_(firmware.file) {
  timer0_.connect(&adc_);
  timer1_.connect(&adc_);
  adc_.connect({&timer0_, &timer1_});
  ports_.connect(&timer1_);
  comparator_.connect(&timer1_);
  // Registers in which several peripherals have bits, on one part or the other.
  for (const Address shared :
       {part.prescalers.at, part.pins.pull_up_disable.at, part.external.sense,
        part.converter.trigger.at, part.comparator.multiplexer_enable.at, part.power.reduction})
    core_.on_write<&Microcontroller::write_shared>(shared, this);
  for (const TimerLayout& timer : part.timers) {
    core_.on_write<&Microcontroller::write_timer_flags>(timer.flags, this);
    core_.on_read<&Microcontroller::read_timer_flags>(timer.flags, this);
    core_.on_write<&Microcontroller::write_timer_mask>(timer.mask, this);
  }
  std::memcpy(core_.avr()->flash, firmware.flash.data(), firmware.flash.size());
  load_eeprom(firmware, changes);
}

/// Settings are what the file's EEPROM part has names for; a bench's values go over the file's.
void Microcontroller::load_eeprom(const Firmware& firmware,
                                  const std::vector<SettingChange>& changes) {
  std::vector<SettingForm> forms;
  for (const EepromName& one : firmware.names)
    forms.push_back({one.name, "", true, 0.0, std::ldexp(1.0, 8 * one.bytes) - 1.0});
  auto content = firmware.eeprom;
  std::vector<const SettingChange*> asked(forms.size(), nullptr);
  for (const SettingChange& change : changes) {
    const std::size_t k = form_of(change, forms);
    asked[k] = &change;
    const auto value = static_cast<std::uint32_t>(change.value);
    for (std::size_t byte = 0; byte < firmware.names[k].bytes; ++byte)
      content[firmware.names[k].address + byte] = static_cast<std::uint8_t>(value >> (8 * byte));
  }
  if (content.empty()) return;
  avr_eeprom_desc_t eeprom{content.data(), 0, static_cast<std::uint32_t>(content.size())};
  avr_ioctl(core_.avr(), AVR_IOCTL_EEPROM_SET, &eeprom);
  for (std::size_t k = 0; k < forms.size(); ++k) {
    const EepromName& name = firmware.names[k];
    std::array<std::uint8_t, 4> bytes{};
    avr_eeprom_desc_t there{bytes.data(), name.address, name.bytes};
    avr_ioctl(core_.avr(), AVR_IOCTL_EEPROM_GET, &there);
    std::uint32_t value = 0;
    for (std::size_t byte = 0; byte < name.bytes; ++byte)
      value |= static_cast<std::uint32_t>(bytes[byte]) << (8 * byte);
    if (asked[k] != nullptr) require_taken(*asked[k], asked[k]->value, value);
    settings_.push_back({name.name, "", static_cast<double>(value), asked[k] != nullptr});
  }
}

void Microcontroller::power(double volts, Time at, World& world) {
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
    if (on && watched_ != nullptr) watched_->skip_to(outside_.clock().time(cycle));
    restart(cycle, true);
  }
  if (is_new) ports_.announce(cycle);
  outside_.tell_edges(Time::max());
}

void Microcontroller::restart(Cycle at, bool power_on) noexcept {
  avr_t* avr = core_.avr();
  if (power_on) {
    avr_reset(avr);
    std::memset(avr->data, 0, 32);
    std::memset(avr->data + avr->ioend + 1, 0, avr->ramend - avr->ioend);
    core_.reg(part_.power.reset_flags) = power_on_flag;
  }
  avr->run_cycle_limit = ~avr_cycle_count_t{0};
  prescaler_01_ = prescaler_2_ = Prescaler{at, false};
  ports_.reset(at);
  for (Timer* timer : timers()) timer->reset(at);
  comparator_.reset();
  adc_.reset();
  usart_.reset();
  if (powered_) ports_.read_wires(at);
  if (watched_ != nullptr) await_watch();
}

Time Microcontroller::run(Time horizon) noexcept {
  avr_t* avr = core_.avr();
  const Cycle end_cycle = std::max(outside_.clock().at_or_after(horizon), avr->cycle);
  const std::uint64_t told_before = outside_.edges_told();
  const auto drove = [&] { return outside_.has_edges() || outside_.edges_told() != told_before; };
  if (powered_ && !drove()) {
    core_.clear_stop();
    check_for_standstill();
    core_.schedule<&Microcontroller::on_horizon>(end_cycle, this);
    comparator_.begin_stretch(horizon);
    while (avr->cycle < end_cycle && !drove() && avr->state != cpu_Crashed) {
      step();
      if (watched_ != nullptr) read_variables();
    }
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

Variables Microcontroller::variables() const {
  const avr_t* avr = core_.avr();
  return mcu::read_variables(file_, elf_target(part_),
                             [avr](std::uint64_t at, std::uint64_t bytes) {
                               const Place place = place_of(at);
                               return place.memory == Memory::data && place.address > avr->ioend &&
                                      bytes <= avr->ramend + std::uint64_t{1} &&
                                      place.address + bytes <= avr->ramend + std::uint64_t{1};
                             });
}

void Microcontroller::await_watch() noexcept {
  core_.schedule<&Microcontroller::on_watch>(outside_.clock().at_or_after(watched_->next()), this);
}

void Microcontroller::read_variables() noexcept {
  if (outside_.clock().time(core_.now()) < watched_->next()) return;
  while (outside_.clock().time(core_.now()) >= watched_->next())
    watched_->take([&](const WatchedPlace& p) -> const std::uint8_t* {
      return core_.avr()->data + place_of(p.address).address;
    });
  await_watch();
}

void Microcontroller::step() noexcept {
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

void Microcontroller::service_interrupts(bool out_of_sleep) noexcept {
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

void Microcontroller::fall_asleep() noexcept {
  avr_t* avr = core_.avr();
  const auto [enable, mode] = std::pair(part_.power.sleep_enable, part_.power.sleep_mode);
  if (!(core_.reg(enable.at) & enable.mask)) {
    avr->state = cpu_Running;  // SLEEP does nothing then
  } else if (const unsigned bits = core_.reg(mode.at) & mode.mask; bits != 0) {
    core_.fail(
        fmt::format("The firmware enters sleep mode {}, which stops clocks and is not "
                    "modelled, {}. Idle (0) is.",
                    bits >> std::countr_zero(mode.mask), core_.where()));
  } else if (!avr->sreg[S_I] && !watchdog_runs()) {
    end(Health::exited, fmt::format("The firmware sleeps with interrupts off: only a reset would "
                                    "wake it, {}.",
                                    core_.where()));
  }
}

/// A jump to itself with interrupts off is where a C program ends (abort, exit).
void Microcontroller::check_for_standstill() noexcept {
  const avr_t* avr = core_.avr();
  const std::uint8_t* code = avr->flash + avr->pc;
  if ((code[0] | code[1] << 8) != jump_to_itself || avr->sreg[S_I] || watchdog_runs() ||
      avr->state != cpu_Running || health_ != Health::running)
    return;
  end(Health::hung, fmt::format("The firmware jumps to itself with interrupts off: only a reset "
                                "would free it, {}.",
                                core_.where()));
}

bool Microcontroller::watchdog_runs() const noexcept {
  return core_.reg(part_.power.watchdog.at) & part_.power.watchdog.mask;
}

void Microcontroller::end(Health health, std::string sentence) noexcept {
  if (health_ != Health::running) return;
  health_ = health;
  diagnosis_ = std::move(sentence);
}

void Microcontroller::deliver(const Edge& edge) noexcept {
  if (outside_.has_world()) ports_.deliver(edge);
}

void Microcontroller::write_shared(const Write& write) noexcept {
  const Address at = write.address;
  const bool clocks = at == part_.prescalers.at || at == part_.power.reduction;
  if (clocks)
    for (Timer* timer : timers()) timer->advance(write.at);
  core_.reg(at) = write.value;
  if (at == part_.prescalers.at) reset_prescalers(write);
  if (clocks)
    for (Timer* timer : timers()) timer->reconfigure(write.at);
  if (at == part_.pins.pull_up_disable.at) ports_.pull_ups_changed(write.at);
  if (at == part_.external.sense) ports_.senses_changed();
  if (at == part_.comparator.multiplexer_enable.at) comparator_.inputs_changed(write.at);
  if (at == part_.converter.trigger.at) adc_.trigger_changed();
}

/// With TSM prescalers stay reset and their timers stand; without it the bits read as zero.
void Microcontroller::reset_prescalers(const Write& write) noexcept {
  const PrescalerLayout& layout = part_.prescalers;
  const bool hold = write.value & layout.hold;
  const auto apply = [&](Prescaler& prescaler, std::uint8_t bit) {
    if ((write.value & bit) || prescaler.held) prescaler.origin = write.at;
    prescaler.held = hold && (write.value & bit);
  };
  apply(prescaler_01_, layout.reset_01);
  apply(prescaler_2_, layout.reset_2);
  if (!hold)
    core_.reg(write.address) &= static_cast<std::uint8_t>(~(layout.reset_01 | layout.reset_2));
}

// Flags and masks of timers, three registers on one part and one on another.

void Microcontroller::write_timer_flags(const Write& write) noexcept {
  for (Timer* timer : timers())
    if (timer->layout().flags == write.address) timer->advance(write.at);
  interrupts_.write_flags(write);
}

std::uint8_t Microcontroller::read_timer_flags(Address address, Cycle at) noexcept {
  for (Timer* timer : timers())
    if (timer->layout().flags == address) timer->settle_flags(at);
  return core_.reg(address);
}

void Microcontroller::write_timer_mask(const Write& write) noexcept {
  for (Timer* timer : timers())
    if (timer->layout().mask == write.address) timer->advance(write.at);
  interrupts_.write_mask(write);
  for (Timer* timer : timers())
    if (timer->layout().mask == write.address) timer->mask_changed();
}

}  // namespace stillrotor::io::mcu
