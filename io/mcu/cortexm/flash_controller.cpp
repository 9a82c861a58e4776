#include "io/mcu/cortexm/flash_controller.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { ACR = 0x00, KEYR = 0x04, OPTKEYR = 0x08, SR = 0x0c, CR = 0x10, OPTCR = 0x14 };
constexpr Word first_key = 0x45670123, second_key = 0xCDEF89AB;
constexpr Word pg = 1, ser = 2, mer = 4, strt = 1u << 16, eop_interrupt = 1u << 24, lock = 1u << 31;
constexpr Word eop = 1, parallelism_error = 0x40, sequence_error = 0x80, clearable = 0xf3;
constexpr double program_s = 16e-6, erase_s_per_16_kB = 0.25;

}  // namespace

FlashController::FlashController(Core& core, const ClockTree& clocks,
                                 std::span<const Word> sector_bytes, bool unit_timing)
    : core_(core), clocks_(clocks), sector_bytes_(sector_bytes), unit_(unit_timing) {
  reset();
}

void FlashController::reset() noexcept {
  access_ = status_ = 0;
  control_ = lock;
  options_ = 0x0fffaaed;
  keys_ = 0;
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
      // In this order; anything else locks until the next reset.
      if (keys_ == 0 && value == first_key)
        keys_ = 1;
      else if (keys_ == 1 && value == second_key) {
        keys_ = 0;
        control_ &= ~lock;
      } else {
        keys_ = 2;
      }
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

/// Bits go from one to zero only; the width of the store is that of PSIZE.
void FlashController::program(Word offset, Word value, Word mask) noexcept {
  if (!(control_ & pg) || (control_ & lock)) {
    status_ |= sequence_error;
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
  if (bytes == 0) return;
  std::fill_n(core_.flash().begin() + first, bytes, std::uint8_t{0xff});
  core_.cpu().code.forget_all();
  busy(erase_s_per_16_kB * bytes / (16 << 10));
}

}  // namespace stillrotor::io::cortexm
