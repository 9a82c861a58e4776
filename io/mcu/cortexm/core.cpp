#include "io/mcu/cortexm/core.hpp"

#include <fmt/core.h>

namespace stillrotor::io::cortexm {
namespace {

constexpr Word counter_base = 0xE0001000;
constexpr unsigned systick_divider = 8;

}  // namespace

Core::Core(const Memories& m, unsigned interrupts, Timing timing)
    : flash_(m.flash_bytes, 0xff),
      sram_(m.sram_bytes),
      ccm_(m.ccm_bytes),
      scheduler_(cpu_.stop),
      exceptions_(cpu_, scheduler_, interrupts),
      system_control_(cpu_, exceptions_, scheduler_, systick_divider) {
  Bus& bus = cpu_.bus;
  bus.flash = {m.flash_base, m.flash_bytes, flash_.data()};
  bus.sram = {m.sram_base, m.sram_bytes, sram_.data()};
  bus.ccm = {m.ccm_base, m.ccm_bytes, ccm_.data()};
  bus.attach(SystemControl::base, SystemControl::bytes, system_control_, "SCS");
  bus.attach(counter_base, 0x1000, cycle_counter_, "DWT");
  Code& code = cpu_.code;
  code.add(m.flash_base, flash_.data(), m.flash_bytes, true);
  code.add(m.sram_base, sram_.data(), m.sram_bytes, false);
  code.add(bus.flash_alias, flash_.data(), m.flash_bytes, true);
  code.watch(m.sram_base, m.sram_bytes);
  bus.map();
  set_timing(timing);
  reset();
  translate(true);
}

void Core::set_timing(const Timing& timing) noexcept {
  cpu_.code.timing = timing;
  cpu_.code.forget_all();
  cpu_.table = timing.unit ? 0 : ~Word{0};
  cpu_.flash_wait = timing.wait_states;
  cpu_.kept_lines = {};
  ++cpu_.effects;
}

void Core::power_on() noexcept {
  std::fill(sram_.begin(), sram_.end(), std::uint8_t{0});
  std::fill(ccm_.begin(), ccm_.end(), std::uint8_t{0});
  cpu_.code.forget_all();
  reset();
}

void Core::reset() noexcept {
  end_.clear();
  hung_ = false;
  sleep_ = Sleep::awake;
  reset_requested_ = false;
  system_control_.reset();
  cycle_counter_.reset();
  exceptions_.reset();
  if (exceptions_.locked_up()) fail("no vector table at address 0");
}

void Core::run(Cycle until) noexcept {
  paused_ = false;
  while (cpu_.cycle < until && end_.empty() && !reset_requested_ && !paused_) {
    scheduler_.run_due(cpu_.cycle, paused_);
    if (paused_) return;
    if (sleep_ != Sleep::awake) {
      if (onlooker_ != nullptr) onlooker_->asleep();
      sleep_until(until);
      continue;
    }
    if (exceptions_.preempts()) {
      exceptions_.enter();
      if (exceptions_.locked_up()) fail("lockup: a fault on the way into an exception");
      continue;
    }
    cpu_.stop = std::min(until, scheduler_.next());
    cpu_.trap = Trap::none;
    if (onlooker_ != nullptr) {
      ++cpu_.effects;
      // What it does may end the stretch; one cycle more is one instruction.
      if (onlooker_->before_instruction()) cpu_.stop = std::min(cpu_.stop, cpu_.cycle + 1);
    }
    cpu_.execute();
    if (cpu_.trap != Trap::none) act(cpu_.trap);
    if (system_control_.reset_requested()) reset_requested_ = true;
  }
  // The last instruction may have ended behind an event, which is told before the world goes on.
  if (!paused_) scheduler_.run_due(cpu_.cycle, paused_);
}

void Core::act(Trap trap) noexcept {
  switch (trap) {
    case Trap::attention:
      break;
    case Trap::breakpoint:
      if (onlooker_ == nullptr || !onlooker_->breakpoint_instruction()) enter_by(trap);
      break;
    case Trap::wait_for_interrupt:
      sleep_ = Sleep::interrupt;
      break;
    case Trap::wait_for_event:
      if (cpu_.event)
        cpu_.event = false;
      else
        sleep_ = Sleep::event;
      break;
    case Trap::undefined:
      fail("an instruction that is undefined or not modelled");
      break;
    case Trap::unpredictable:
      fail("an instruction with unpredictable effect");
      break;
    default:
      enter_by(trap);
  }
}

/// What is due by now may be more urgent: it arrives late.
void Core::enter_by(Trap trap) noexcept {
  if (!exceptions_.act(trap)) fail("lockup: a fault that no handler can take");
  if (storms()) pause();  // whoever owns the part looks whether anything ends it
  if (exceptions_.sleeps_on_exit()) sleep_ = Sleep::interrupt;
}

void Core::sleep_until(Cycle until) noexcept {
  // B1.5.18, B1.5.19: PRIMASK does not keep WFI asleep; WFE waits for its event or an entry.
  const bool wake = sleep_ == Sleep::interrupt
                        ? exceptions_.wakes()
                        : exceptions_.preempts() || std::exchange(cpu_.event, false);
  if (wake) {
    sleep_ = Sleep::awake;
    return;
  }
  const Cycle before = cpu_.cycle;
  const auto pass = [&] { cpu_.cycle = std::max(cpu_.cycle, std::min(until, scheduler_.next())); };
  pass();
  // What may wake it, or end the run, asks for attention.
  cpu_.stop = until;
  while (cpu_.cycle < until && onlooker_ == nullptr && !(sleep_ == Sleep::event && cpu_.event)) {
    scheduler_.run_due(cpu_.cycle, paused_);
    if (cpu_.stop == 0) break;
    pass();
  }
  cycles_asleep_ += cpu_.cycle - before;
}

std::string Core::describe(Word address) const {
  const std::string name = name_ ? name_(name_owner_, address) : std::string();
  return name.empty() ? fmt::format("0x{:08x}", address)
                      : fmt::format("0x{:08x} ({})", address, name);
}

void Core::fail(std::string_view what) noexcept {
  const Word pc = cpu_.ip != nullptr ? cpu_.pc() : 0;
  std::string encoding;
  if (const std::uint8_t* bytes = cpu_.bus.memory(pc)) {
    std::uint16_t half[2];
    std::memcpy(half, bytes, sizeof half);
    encoding = half[0] >> 11 >= 0b11101 ? fmt::format(", encoding {:04x} {:04x}", half[0], half[1])
                                        : fmt::format(", encoding {:04x}", half[0]);
  }
  end_ = fmt::format("{} at PC {}{}", what, describe(pc), encoding);
}

}  // namespace stillrotor::io::cortexm
