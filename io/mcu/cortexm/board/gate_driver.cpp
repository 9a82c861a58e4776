#include "io/mcu/cortexm/board/gate_driver.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr unsigned frame_bits = 16, head_bits = 5;
constexpr std::uint16_t data_mask = 0x7ff, reads = 0x8000;

}  // namespace

void GateDriver::start() noexcept {
  registers_ = {};
  tripped_ = tripping_;
  wrong_length_ = selected_ = out_ = false;
}

std::uint16_t GateDriver::value_of(unsigned reg) const noexcept {
  if (reg != 0) return reg < registers_.size() ? registers_[reg] : 0;
  const unsigned flags =
      (tripped_ ? 1u << 9 : 0) | (tripping_ ? 1u << 8 : 0) | (wrong_length_ ? 1u << 7 : 0);
  return static_cast<std::uint16_t>((flags != 0 ? 1u << 10 : 0) | flags | (enabled() ? 1u : 0));
}

void GateDriver::execute() noexcept {
  if (taken_ == 0) return;
  if (taken_ != frame_bits) {
    wrong_length_ = true;
    return;
  }
  const unsigned reg = frame_ >> 11 & 0xf;
  if ((frame_ & reads) || reg == 0 || reg >= registers_.size()) return;
  registers_[reg] = frame_ & data_mask;
  if (reg != 1) return;
  if (frame_ & 2) {
    tripped_ = tripping_;
    wrong_length_ = false;
  }
  registers_[1] &= static_cast<std::uint16_t>(~2u);
}

void GateDriver::seen(unsigned wire, bool high, Time) noexcept {
  switch (wire) {
    case in_wire:
      in_ = high;
      break;
    case select_wire:
      if (high && selected_) execute();
      selected_ = !high;
      taken_ = 0;
      frame_ = 0;
      out_ = false;
      break;
    case clock_wire:
      if (!selected_) break;
      if (high) {
        out_ = taken_ >= head_bits && taken_ < frame_bits &&
               (answer_ >> (frame_bits - 1 - taken_) & 1);
      } else {
        if (taken_ < frame_bits) frame_ = static_cast<std::uint16_t>(frame_ << 1 | (in_ ? 1 : 0));
        if (++taken_ == head_bits) answer_ = value_of(frame_ & 0xf);
      }
      break;
    default:
      break;
  }
}

}  // namespace stillrotor::io::cortexm
