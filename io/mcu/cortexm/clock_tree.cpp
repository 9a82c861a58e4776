#include "io/mcu/cortexm/clock_tree.hpp"

#include <numeric>

namespace stillrotor::io::cortexm {
namespace {

enum : Word {
  CR = 0x00,
  PLLCFGR = 0x04,
  CFGR = 0x08,
  AHB1RSTR = 0x10,
  APB2RSTR = 0x24,
  BDCR = ClockTree::backup_control,
  CSR = 0x74
};
constexpr Word hsi_on = 1, hsi_ready = 2, hse_on = 1u << 16, hse_ready = 1u << 17,
               pll_on = 1u << 24, pll_ready = 1u << 25, i2s_on = 1u << 26, i2s_ready = 1u << 27;
constexpr Word causes = 0xfe000000, forget_causes = 1u << 24;
constexpr std::uint32_t internal_Hz = 16'000'000;
constexpr double crystal_start_s = 2e-3, pll_start_s = 100e-6;
constexpr std::int64_t ps_per_s = 1'000'000'000'000;

}  // namespace

ClockTree::ClockTree(Core& core, std::uint32_t crystal_Hz, std::uint32_t highest_Hz)
    : core_(core),
      crystal_Hz_(crystal_Hz),
      highest_Hz_(highest_Hz),
      crystal_event_(core.scheduler().make<&ClockTree::on_crystal>(this)),
      pll_event_(core.scheduler().make<&ClockTree::on_pll>(this)) {
  set_frequency(internal_Hz);
  restart(ResetCause::power, 0);
}

void ClockTree::restart(ResetCause cause, Cycle at) noexcept {
  const Word before = cause == ResetCause::power ? 0 : registers_[CSR / 4] & causes;
  const Word backup = cause == ResetCause::power ? 0 : registers_[BDCR / 4];
  registers_ = {};
  registers_[BDCR / 4] = backup;
  registers_[CR / 4] = 0x80 | hsi_on | hsi_ready;
  registers_[PLLCFGR / 4] = 0x24003010;
  registers_[0x30 / 4] = 0x00100000;
  registers_[CSR / 4] = before | static_cast<Word>(cause);
  core_.scheduler().at(crystal_event_, never);
  core_.scheduler().at(pll_event_, never);
  take_over(at);
}

std::uint32_t ClockTree::pll_Hz() const noexcept {
  const Word c = registers_[PLLCFGR / 4];
  const std::uint64_t source = c >> 22 & 1 ? crystal_Hz_ : internal_Hz;
  const Word m = c & 0x3f, n = c >> 6 & 0x1ff, p = 2 * (c >> 16 & 3) + 2;
  if (m < 2 || n < 2) return internal_Hz;  // the manual forbids them
  return static_cast<std::uint32_t>(source * n / m / p);
}

void ClockTree::set_frequency(std::uint32_t Hz) noexcept {
  const std::int64_t common = std::gcd(ps_per_s, std::int64_t{Hz});
  core_Hz_ = Hz;
  ps_ = ps_per_s / common;
  to_ps_ = {ps_, Hz / common};
  to_cycles_ = {Hz / common, ps_};
}

/// The switch of the system clock, where its source is ready, and the frequency that follows.
void ClockTree::take_over(Cycle at) noexcept {
  Word& control = registers_[CR / 4];
  Word& configuration = registers_[CFGR / 4];
  const Word wanted = configuration & 3;
  const bool ready = wanted == 0   ? control & hsi_ready
                     : wanted == 1 ? control & hse_ready
                     : wanted == 2 ? control & pll_ready
                                   : false;
  if (ready) configuration = (configuration & ~0xcu) | wanted << 2;
  const Word source = configuration >> 2 & 3;
  std::uint32_t Hz = source == 0 ? internal_Hz : source == 1 ? crystal_Hz_ : pll_Hz();
  const Word prescaler = configuration >> 4 & 0xf;
  constexpr unsigned shifts[] = {1, 2, 3, 4, 6, 7, 8, 9};
  if (prescaler & 8) Hz >>= shifts[prescaler & 7];
  if (Hz == 0) Hz = 1;
  if (Hz == core_Hz_ && buses() == told_buses_) return;
  since_ = time_at(at);
  since_cycle_ = at;
  set_frequency(Hz);
  told_buses_ = buses();
  for (ClockFollower* f : followers_) f->clock_changed(at);
}

unsigned ClockTree::bus_divider(bool fast) const noexcept {
  const Word prescaler = registers_[CFGR / 4] >> (fast ? 13 : 10) & 7;
  return prescaler & 4 ? 2u << (prescaler & 3) : 1;
}

void ClockTree::on_crystal(Cycle at) noexcept {
  registers_[CR / 4] |= hse_ready;
  take_over(at);
}
void ClockTree::on_pll(Cycle at) noexcept {
  registers_[CR / 4] |= pll_ready;
  take_over(at);
}

void ClockTree::write_control(Word value, Cycle at) noexcept {
  Word& control = registers_[CR / 4];
  const Word before = control;
  constexpr Word settable = 0x050d00f9;
  control = (value & settable) | (before & ~settable);
  control = (control & ~(hsi_ready | i2s_ready)) | (control & hsi_on ? hsi_ready : 0) |
            (control & i2s_on ? i2s_ready : 0);
  Scheduler& s = core_.scheduler();
  if ((control & ~before) & hse_on && crystal_Hz_ != 0)
    s.at(crystal_event_, at + cycles(crystal_start_s));
  if (!(control & hse_on)) {
    control &= ~hse_ready;
    s.at(crystal_event_, never);
  }
  if ((control & ~before) & pll_on) s.at(pll_event_, at + cycles(pll_start_s));
  if (!(control & pll_on)) {
    control &= ~pll_ready;
    s.at(pll_event_, never);
  }
}

Word ClockTree::read(Word offset, Cycle) noexcept {
  return offset / 4 < registers_.size() ? registers_[offset / 4] : 0;
}

void ClockTree::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  if (offset / 4 >= registers_.size()) return;
  Word& kept = registers_[offset / 4];
  const Word merged = (kept & ~mask) | value;
  switch (offset) {
    case CR:
      write_control(merged, at);
      break;
    case PLLCFGR:
      if (!(registers_[CR / 4] & pll_on)) kept = merged;
      break;
    case CFGR:
      kept = (merged & ~0xcu) | (kept & 0xc);
      take_over(at);
      break;
    case BDCR:
      if (backup_guard_.first != nullptr && !(*backup_guard_.first & backup_guard_.second)) {
        if (GuardWatcher* const watcher = core_.bus().watcher)
          watcher->in_vain("RCC.BDCR", 0, true, Obstacle::write_protected);
        break;
      }
      kept = (merged & ~2u) | (merged & 1) << 1;  // LSE ready at once
      if (!(merged & backup_reset)) break;
      kept = backup_reset;
      for (ClockFollower* f : followers_) f->blocks_reset(BDCR, backup_reset, at);
      break;
    case CSR:
      kept = (kept & causes) | (merged & 1) | (merged & 1) << 1;  // LSI too
      if (merged & forget_causes) kept &= ~causes;
      break;
    default: {
      const Word before = kept;
      kept = merged;
      if (offset >= AHB1RSTR && offset <= APB2RSTR && (merged & ~before) != 0)
        for (ClockFollower* f : followers_) f->blocks_reset(offset, merged & ~before, at);
    }
  }
}

}  // namespace stillrotor::io::cortexm
