#include "io/mcu/cortexm/flash_controller.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { ACR = 0x00, KEYR = 0x04, OPTKEYR = 0x08, SR = 0x0c, CR = 0x10, OPTCR = 0x14 };
constexpr Word first_key = 0x45670123, second_key = 0xCDEF89AB;
constexpr Word pg = 1, ser = 2, mer = 4, strt = 1u << 16, eop_interrupt = 1u << 24, lock = 1u << 31;
constexpr Word first_option_key = 0x08192A3B, second_option_key = 0x4C5D6E7F;
constexpr Word option_lock = 1, option_start = 2, read_protection = 0xff00;
constexpr Word eop = 1, protection_error = 0x10, parallelism_error = 0x40, sequence_error = 0x80,
               clearable = 0xf3;
constexpr double program_s = 16e-6, erase_s_per_16_kB = 0.25;
constexpr Word factory_mask = 0x0fffffec;  // of OPTCR: what is stored

/// Two keys in their order; anything else locks until the next reset.
bool unlocks(unsigned& keys, Word value, Word first, Word second) noexcept {
  const bool done = keys == 1 && value == second;
  keys = done ? 0 : keys == 0 && value == first ? 1 : 2;
  return done;
}

}  // namespace

FlashController::FlashController(Core& core, const ClockTree& clocks,
                                 std::span<const Word> sector_bytes, bool unit_timing)
    : core_(core), clocks_(clocks), sector_bytes_(sector_bytes), unit_(unit_timing) {
  reset(0);
}

void FlashController::reset(Cycle) noexcept {
  access_ = status_ = 0;
  control_ = lock;
  options_ = stored_options_ | option_lock;
  keys_ = option_keys_ = 0;
  take_access_control();
}

void FlashController::take_access_control() noexcept {
  core_.set_timing({.unit = unit_,
                    .wait_states = access_ & 7,
                    .prefetch = (access_ & 0x100) != 0,
                    .instruction_cache = (access_ & 0x200) != 0});
}

Word FlashController::read(Word offset, Cycle) noexcept {
  switch (offset) {
    case ACR:
      return access_;
    case SR:
      return status_;
    case CR:
      return control_;
    case OPTCR:
      return options_;
    default:
      return 0;
  }
}

void FlashController::write(Word offset, Word value, Word mask, Cycle) noexcept {
  switch (offset) {
    case ACR: {
      const Word before = access_;
      access_ = ((access_ & ~mask) | value) & 0x1f07;
      if (access_ != before) take_access_control();
      break;
    }
    case KEYR:
      if (unlocks(keys_, value, first_key, second_key)) control_ &= ~lock;
      break;
    case OPTKEYR:
      if (unlocks(option_keys_, value, first_option_key, second_option_key))
        options_ &= ~option_lock;
      break;
    case OPTCR:
      write_options(value, mask);
      break;
    case SR:
      status_ &= ~(value & clearable);
      break;
    case CR: {
      if (control_ & lock) break;
      control_ = ((control_ & ~mask) | value) & 0x830103ff;
      if (control_ & strt) erase();
      if (control_ & lock) keys_ = 0;
      break;
    }
    default:
      break;
  }
}

void FlashController::busy(double seconds) noexcept {
  core_.cpu().cycle += clocks_.cycles(seconds);
  core_.cpu().attend();
  if (control_ & eop_interrupt) status_ |= eop;
}

void FlashController::store_options(Word options) noexcept {
  stored_options_ = options & factory_mask;
  options_ = stored_options_ | option_lock;
}

void FlashController::write_options(Word value, Word mask) noexcept {
  if (options_ & option_lock) return;
  const Word merged = (options_ & ~mask) | value;
  options_ = (options_ & ~factory_mask) | (merged & factory_mask);
  if (merged & option_start) {
    if ((options_ ^ stored_options_) & read_protection) {
      refused_(
          "read protection by option bytes: the simulated flash stays readable (on the part "
          "it would be closed to debuggers, erased on the way back, or locked for good)");
      options_ = (options_ & ~read_protection) | (stored_options_ & read_protection);
    }
    stored_options_ = options_ & factory_mask;
    busy(erase_s_per_16_kB);
  }
  if (merged & option_lock) {
    options_ |= option_lock;
    option_keys_ = 0;
  }
}

/// Datasheet, typical, from memory: levels 3, 2, 1.
double FlashController::brown_out_V(bool rising) const noexcept {
  constexpr double falling_V[] = {2.83, 2.50, 2.19, 0.0}, rising_V[] = {2.92, 2.59, 2.29, 0.0};
  const Word level = stored_options_ >> 2 & 3;
  return rising ? rising_V[level] : falling_V[level];
}

/// nWRP holds a 0 for each sector that is protected.
bool FlashController::is_protected(Word offset) const noexcept {
  Word end = 0;
  for (std::size_t i = 0; i < sector_bytes_.size(); ++i)
    if (offset < (end += sector_bytes_[i])) return !(stored_options_ >> (16 + i) & 1);
  return false;
}

/// Each half is followed by its complement in the part's own memory; that is not shown.
Word FlashController::OptionBytes::read(Word offset, Cycle) noexcept {
  const Word options = owner_.stored_options_;
  return offset == 0 ? options & 0xffff : offset == 8 ? options >> 16 & 0xfff : 0;
}

/// Bits go from one to zero only; the width of the store is that of PSIZE.
void FlashController::program(Word offset, Word value, Word mask) noexcept {
  if (!(control_ & pg) || (control_ & lock)) {
    status_ |= sequence_error;
    return;
  }
  if (is_protected(offset)) {
    status_ |= protection_error;
    return;
  }
  const unsigned width = 8u << (control_ >> 8 & 3);
  if (static_cast<unsigned>(std::popcount(mask)) != width) {
    status_ |= parallelism_error;
    return;
  }
  Word stored = 0;
  std::uint8_t* const place = core_.flash().data() + offset;
  std::memcpy(&stored, place, 4);
  stored &= value | ~mask;
  std::memcpy(place, &stored, 4);
  core_.cpu().code.forget(core_.bus().flash.base + offset, 4);
  core_.cpu().code.forget(core_.bus().flash_alias + offset, 4);
  busy(program_s);
}

void FlashController::erase() noexcept {
  Word first = 0, bytes = 0;
  const Word sector = control_ >> 3 & 0xf;
  if (control_ & mer) {
    bytes = static_cast<Word>(core_.flash().size());
  } else if ((control_ & ser) && sector < sector_bytes_.size()) {
    for (Word i = 0; i < sector; ++i) first += sector_bytes_[i];
    bytes = sector_bytes_[sector];
  } else {
    status_ |= sequence_error;
  }
  control_ &= ~strt;
  // A mass erase wants no sector protected (RM0090, 3.6.5).
  for (Word i = 0, at = first; bytes != 0 && i < sector_bytes_.size(); at += sector_bytes_[i++])
    if ((control_ & mer || i == sector) && is_protected(control_ & mer ? at : first)) {
      status_ |= protection_error;
      return;
    }
  if (bytes == 0) return;
  std::fill_n(core_.flash().begin() + first, bytes, std::uint8_t{0xff});
  core_.cpu().code.forget_all();
  busy(erase_s_per_16_kB * bytes / (16 << 10));
}

}  // namespace stillrotor::io::cortexm
