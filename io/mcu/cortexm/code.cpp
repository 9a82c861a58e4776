#include "io/mcu/cortexm/code.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

#include "io/mcu/cortexm/cpu.hpp"
#include "io/mcu/cortexm/decode.hpp"

namespace stillrotor::io::cortexm {
namespace {

const Op* not_decoded(Cpu& c, const Op* op) {
  op = c.code.decode(op);
  c.cycle += op->cycles;
  return op->execute(c, op);
}
const Op* not_decoded_in_it(Cpu& c, const Op* op) {
  op = c.code.decode(op);
  return op->in_it(c, op);
}
const Op* beyond(Cpu& c, const Op* op) { return c.branch(c.code.address_of(op)); }

constexpr Op undecoded{not_decoded, not_decoded_in_it, 0, 0, 0, 0, 0, 0, 0, 0, 0, keep_carry, {}};
constexpr Op end{beyond, beyond, 0, 0, 0, 0, 0, 0, 0, 0, 1, keep_carry, {}};

/// The length stays: an instruction that has just overwritten itself still knows where it ends.
/// true: it is translated.
bool make_undecoded(Op& op) noexcept {
  op.execute = not_decoded;
  op.in_it = not_decoded_in_it;
  op.cycles = 0;
  return op.found.is_inside;
}

/// The first halfword of a 32-bit instruction (A5.1).
constexpr bool is_long(Word halfword) noexcept { return halfword >> 11 >= 0b11101; }

}  // namespace

void Code::add(Word base, const std::uint8_t* bytes, Word size, bool in_flash) {
  stretches_.push_back({base, size, bytes, in_flash, nullptr, {}});
}

void Code::watch(Word base, Word size) {
  ram_base_ = base;
  ram_pages_.assign((size >> page_bits) + 1, 0);
}

Op& Code::Stretch::at(Word place) {
  if (!ops) {
    ops = std::make_unique_for_overwrite<Op[]>(count() + 2);
    std::fill_n(&ops[count()], 2, end);
    made.assign(count() / page_ops + 1, false);
  }
  const Word page = place / page_ops, first = page * page_ops;
  if (place < count() && !made[page]) {
    std::fill_n(&ops[first], std::min(page_ops, count() - first), undecoded);
    made[page] = true;
  }
  return ops[place];
}

const Op* Code::find(Word address) {
  for (Stretch& s : stretches_) {
    if (address - s.base >= s.size) continue;
    return &s.at((address - s.base) / 2);
  }
  return nullptr;
}

const Code::Stretch& Code::of(const Op* op) const noexcept {
  for (const Stretch& s : stretches_)
    if (s.ops && op >= s.ops.get() && op < s.ops.get() + s.count() + 2) return s;
  return stretches_.front();
}

Word Code::address_of(const Op* op) const noexcept {
  const Stretch& s = of(op);
  return s.base + static_cast<Word>(2 * (op - s.ops.get()));
}

bool Code::is_decoded(const Op* op) noexcept { return op->execute != not_decoded; }

void Code::forget(Word address, Word size) noexcept {
  const Word page = (address - ram_base_) >> page_bits;
  if (!runs_from_ram_ && page < ram_pages_.size()) return;
  bool is_translated = false;
  for (Stretch& s : stretches_) {
    if (!s.ops) continue;
    // A 32-bit instruction begins a halfword before its second half.
    const Word first = address - s.base, from = first < 2 ? 0 : (first - 2) / 2;
    if (first >= s.size) continue;
    const Word to = std::min((first + size + 1) / 2, s.count());
    for (Word i = from; i < to; ++i)
      if (s.made[i / page_ops]) is_translated |= make_undecoded(s.ops[i]);
  }
  if (is_translated && follower != nullptr) follower->forgotten();
}

void Code::forget_all() noexcept {
  for (Stretch& s : stretches_)
    for (Word first = 0; s.ops && first < s.count(); first += page_ops)
      if (s.made[first / page_ops])
        std::for_each_n(&s.ops[first], std::min(page_ops, s.count() - first), make_undecoded);
  if (follower != nullptr) follower->forgotten();
}

const Op* Code::decode(const Op* place) {
  Stretch& s = const_cast<Stretch&>(of(place));
  const auto number = static_cast<Word>(place - s.ops.get());
  s.at(number + 2);  // what may follow it
  Op& op = s.ops[number];
  const Word address = address_of(place), offset = address - s.base;
  std::uint16_t half[2] = {0, 0};
  std::memcpy(half, s.bytes + offset, std::min<Word>(4, s.size - offset));
  const Findings found = op.found;
  op = undecoded;
  op.found = found;
  const bool wide = is_long(half[0]);
  op.halfwords = wide ? 2 : 1;
  op.cycles = 1;
  if (wide && s.size - offset < 4) {
    op.execute = op.in_it = [](Cpu& c, const Op* at) {
      c.raise(Trap::bus_fault, bus_error::instruction, at);
      return at;
    };
    return place;
  }
  decode_instruction(wide ? Word{half[0]} << 16 | half[1] : half[0], wide, address, op);
  if (op.imm - s.base < s.size) {  // where it is a target; elsewhere it is not looked at
    op.hop = static_cast<std::int32_t>(op.imm - address) / 2;
    s.at((op.imm - s.base) / 2);
  }
  if (timing.unit)
    op.cycles = 1;
  else if (s.in_flash && !timing.prefetch && timing.wait_states != 0) {
    const Word line_halfword = address >> 1 & ((1u << (flash_line_bits - 1)) - 1);
    // Straight into a new line: kept lines come at once only on a jump, in this model.
    if (line_halfword == 0 || (wide && line_halfword == 7))
      op.cycles = static_cast<std::uint8_t>(op.cycles + timing.wait_states);
  }
  const Word page_end = address + 2u * op.halfwords - 1 - ram_base_;
  for (const Word a : {address - ram_base_, page_end}) {
    if (a >> page_bits >= ram_pages_.size()) continue;
    ram_pages_[a >> page_bits] = 1;
    if (!std::exchange(runs_from_ram_, true) && follower != nullptr) follower->forgotten();
  }
  return place;
}

}  // namespace stillrotor::io::cortexm
