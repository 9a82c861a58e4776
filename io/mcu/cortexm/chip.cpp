#include "io/mcu/cortexm/chip.hpp"

#include <fmt/core.h>

namespace stillrotor::io::cortexm {

Chip::Chip(const ChipPart& part, Program program, std::uint32_t crystal_Hz, ChipOutside& outside,
           bool unit_timing)
    : part_(part),
      program_(std::move(program)),
      outside_(outside),
      core_(part.memories, part.interrupts),
      clocks_(core_, crystal_Hz, part.highest_Hz),
      identity_(part.identity_words),
      flash_controller_(core_, clocks_, part.sector_bytes, unit_timing),
      external_lines_(core_.exceptions(), part.lines, static_cast<LateEdges&>(*this)),
      watchdog_(core_, clocks_,
                [this](ResetCause cause) {
                  cause_ = cause;
                  core_.request_reset();
                }),
      window_watchdog_(core_, clocks_, part.window_watchdog_interrupt,
                       [this](ResetCause cause) {
                         cause_ = cause;
                         core_.request_reset();
                       }),
      guesses_(core_) {
  std::copy(program_.flash.begin(), program_.flash.end(), core_.flash().begin());
  core_.name_addresses_by(
      [](const void* names, Word address) {
        return static_cast<const Program*>(names)->name_of(address);
      },
      &program_);
  clocks_.follow(*this);
  attach_blocks();
  guard_blocks();
  core_.power_on();
  if (program_.option_bytes) flash_controller_.store_options(*program_.option_bytes);
  if (flash_controller_.watchdog_from_start()) watchdog_.start(0);
}

void Chip::attach_blocks() {
  const ChipPart& part = part_;
  Bus& bus = core_.bus();
  constexpr Word block = 0x400;
  bus.attach(part.clock_tree, block, clocks_, "RCC");
  bus.attach(part.flash_controller, block, flash_controller_, "FLASH");
  bus.programmer = &flash_controller_.programmer();
  bus.attach(part.external_lines, block, external_lines_, "EXTI");
  bus.attach(part.system_configuration, block, external_lines_.choice(), "SYSCFG");
  bus.attach(part.power, block, power_, "PWR");
  bus.attach(part.crc, block, crc_, "CRC");
  bus.attach(part.option_bytes, 0x10, flash_controller_.option_bytes(), "OPTIONS");
  bus.attach(part.identity, 0x100, identity_, "ID");
  bus.attach(part.watchdog, block, watchdog_, "IWDG");
  bus.attach(part.window_watchdog, block, window_watchdog_, "WWDG");
  for (const PortBlock& p : part.ports) {
    const auto index = static_cast<std::uint8_t>(ports_.size());
    Port& port = ports_.emplace_back(p, index, static_cast<PinFollower&>(*this),
                                     static_cast<LateEdges&>(*this));
    port.follow(*this);
    port.follow_seen(external_lines_, external_lines_.pins(index));
    bus.attach(p.base, block, port, p.name);
  }
  for (const UsartBlock& u : part.usarts)
    bus.attach(
        u.base, block,
        usarts_.emplace_back(
            u, core_, clocks_,
            [this](Cycle at, std::string_view text) { outside_.text(clocks_.time_at(at), text); },
            [this, base = u.base](bool transmits, Cycle at) {
              for (const SerialRequest& r : part_.serial->requests)
                if (r.block == base && r.transmits == transmits &&
                    motor_->carry(r.controller, r.stream, r.channel, at))
                  return true;
              return false;
            }),
        u.name);
  for (const CanBlock& c : part.cans)
    bus.attach(
        c.base, block,
        cans_.emplace_back(c, core_, clocks_,
                           [this, &c](std::string_view what) { guesses_.remark(c.name, what); }),
        c.name);
  // Behind the registers, FIFOs and their debug access.
  for (const UsbBlock& u : part.usbs) bus.attach(u.base, 0x40000, usbs_.emplace_back(), u.name);
  for (const KeptBlock& k : part.kept)
    bus.attach(k.base, k.bytes, kept_.emplace_back(guesses_, k.base, k.bytes, k.name, k.rows),
               k.name);
  motor_.emplace(*part.motor, core_, clocks_, ports_, static_cast<AnalogPins&>(*this),
                 static_cast<LateEdges&>(*this),
                 [this](std::string_view who, std::string_view what, Cycle at) {
                   not_modelled(who, what, at);
                 });
  for (std::size_t i = 0; i < ports_.size(); ++i) {
    ports_[i].follow(*motor_);
    ports_[i].follow_seen(*motor_, motor_->heard(i));
  }
  serial_.emplace(
      *part.serial, core_, clocks_, ports_,
      [this](const SerialRequest& r, Cycle at) {
        return motor_->carry(r.controller, r.stream, r.channel, at);
      },
      [this](std::string_view who, std::string_view what) { guesses_.remark(who, what); });
  for (Port& port : ports_) port.follow(*serial_);
  motor_->stream_enabled = [this](Cycle at) {
    serial_->serve(at);
    for (Usart& usart : usarts_) usart.serve(at);
  };
  clocks_.follow(*motor_);
}

void Chip::guard_blocks() {
  Bus& bus = core_.bus();
  bus.watcher = this;
  flash_controller_.tell_refused_by(
      [this](std::string_view what) { guesses_.remark("FLASH", what); });
  for (const ClockRow& row : part_.clocks) {
    bus.guard(row.base, {&clocks_.word(row.enable), row.clock_bits, true, Obstacle::clock_off});
    bus.guard(row.base,
              {&clocks_.word(row.enable - 0x20), row.reset_bits, false, Obstacle::held_in_reset});
  }
  clocks_.protect_backup_by(power_.control(), PowerControl::backup_writable);
  for (const KeptBlock& k : part_.kept)
    if (k.backup)
      bus.guard(k.base, {&power_.control(), PowerControl::backup_writable, true,
                         Obstacle::write_protected});
}

void Chip::hear_late(std::span<const PinId> pins) noexcept {
  hears_late_ = !pins.empty();
  std::array<Pins, 16> by_port{};
  for (const PinId pin : pins) by_port[pin.port] |= Pins{1} << pin.number;
  for (std::size_t i = 0; i < ports_.size(); ++i) ports_[i].hear_late(by_port[i]);
  motor_->hear_late(pins);
}

/// RCC resets a block alone.
void Chip::blocks_reset(Word offset, Word bits, Cycle at) noexcept {
  listeners_change(at);
  for (const ClockRow& row : part_.clocks)
    if (row.enable - 0x20 == offset && (row.reset_bits & bits)) core_.bus().at(row.base)->reset(at);
  // Backup RAM is spared (RM0090, 7.1.3).
  if (offset == ClockTree::backup_control)
    for (std::size_t i = 0; i < kept_.size(); ++i)
      if (part_.kept[i].backup && part_.kept[i].bytes == 0x400) kept_[i].reset(at);
}

void Chip::reset(ResetCause cause) noexcept {
  const Cycle now = core_.now();
  listeners_change(now);
  ++resets_;
  cause_ = ResetCause::software;
  clocks_.restart(cause, core_.now());
  flash_controller_.reset(now);
  external_lines_.reset(now);
  watchdog_.reset(now);
  window_watchdog_.reset(now);
  for (Port& port : ports_) port.reset(now);
  for (Usart& usart : usarts_) usart.reset(now);
  for (Can& can : cans_) can.reset(now);
  for (Usb& usb : usbs_) usb.reset(now);
  power_.reset(now);
  crc_.reset(now);
  for (std::size_t i = 0; i < kept_.size(); ++i)
    if (!part_.kept[i].backup) kept_[i].reset(now);
  motor_->reset(now);
  serial_->reset(now);
  core_.reset();
  if (flash_controller_.watchdog_from_start()) watchdog_.start(now);
}

void Chip::not_modelled(std::string_view who, std::string_view what, Cycle at) {
  guesses_.remark(who, what);
  motor_path_.asked(who, what, clocks_.time_at(at), core_.describe(core_.cpu().pc()));
}

void Chip::configured(PinId pin, Cycle at) noexcept {
  const Port& port = ports_[pin.port];
  const unsigned function = port.alternate_function(pin.number);
  if (!port.is_alternate(pin.number) || !motor_path_.has_to_be_driven(pin, function) ||
      motor_->drives(pin))
    return;
  not_modelled(fmt::format("P{}{}", static_cast<char>('A' + pin.port), pin.number),
               fmt::format("alternate function {} of a gate's pin", function), at);
}

std::string Chip::coverage() const {
  const auto is_kept = [&](std::string_view name) {
    return std::any_of(part_.kept.begin(), part_.kept.end(),
                       [&](const KeptBlock& k) { return name == k.name; });
  };
  std::string text = fmt::format("What the firmware used of {}, by block:\n", part_.name);
  for (const Bus::Use& use : core_.bus().uses())
    text +=
        fmt::format("  {:12} {:>12} reads {:>12} writes   {}\n", use.name, use.reads, use.writes,
                    is_kept(use.name) ? "no model: keeps what is written" : "modelled");
  const auto list = [&](std::string_view title, const auto& items, const auto& line) {
    if (items.empty()) return;
    text += fmt::format("{}\n", title);
    for (const auto& item : items) text += fmt::format("  {}\n", line(item));
  };
  list("Guessed at:", guesses_.touches(), [&](const Touch& t) { return guesses_.describe(t); });
  list("Accesses in vain:", guesses_.in_vain(),
       [&](const InVain& i) { return guesses_.describe(i); });
  list("Waits in vain:", guesses_.poll_loops(),
       [&](const PollLoop& l) { return guesses_.describe(l); });
  list("Asked for, and not done:", guesses_.remarks(), [](const std::string& r) { return r; });
  constexpr std::uint64_t chain_told = 10'000;
  if (const auto& chain = core_.exceptions().longest_chain(); chain.count >= chain_told)
    text += fmt::format("Exception {} came {} times in a row: what it interrupts stood still.\n",
                        chain.number, chain.count);
  text += fmt::format("Resets by the firmware or a watchdog: {}. Exceptions taken: {}.\n", resets_,
                      core_.exceptions().taken);
  return text;
}

/// A watchdog ends it on the part; without one it goes on for ever.
void Chip::look_for_storms() noexcept {
  if (!core_.storms() || !core_.can_go_on()) return;
  if (watchdog_.runs() || window_watchdog_.runs()) return;
  core_.end_as_hung(
      "an endless fault: its handler comes back to the instruction that faults, and no "
      "watchdog runs;");
}

void Chip::run(Time until) noexcept {
  // The clock may change on the way: cycles are worked out anew until the time has come.
  // What is due by now has to happen even where the time has come: an instruction may have ended
  // behind two edges, and only the first has been told.
  comes_back_ = false;
  while (core_.can_go_on() && !comes_back_) {
    const Cycle goal = clocks_.cycle_at(until);
    if (core_.now() >= goal && core_.scheduler().next() > core_.now()) return;
    core_.run(goal);
    if (core_.reset_requested()) reset(cause_);
    look_for_storms();
  }
}

}  // namespace stillrotor::io::cortexm
