#include "io/mcu/cortexm/kept_registers.hpp"

#include <fmt/core.h>

namespace stillrotor::io::cortexm {
namespace {

constexpr unsigned reads_of_a_loop = 1000;
constexpr int instructions_looked_at = 4;
constexpr std::size_t most_in_vain = 48;  // instructions that are told one by one

std::string bits_of(Word mask) {
  std::string text = std::popcount(mask) == 1 ? " bit" : " bits";
  for (unsigned i = 0; i < 32; ++i)
    if (mask >> i & 1) text += fmt::format(" {}", i);
  return text;
}

/// ThumbExpandImm (A5.3.2), without the forms that a test of bits does not take.
Word expanded(Word first, Word second) {
  const Word imm12 = (first >> 10 & 1) << 11 | (second >> 12 & 7) << 8 | (second & 0xff);
  if (imm12 >> 10 != 0) return std::rotr(0x80 | (imm12 & 0x7f), static_cast<int>(imm12 >> 7));
  constexpr Word copies[] = {1, 0x00010001, 0x01000100, 0x01010101};
  return (imm12 & 0xff) * copies[imm12 >> 8];
}

}  // namespace

std::optional<Word> tested_bits(Core& core, Word pc) {
  const auto half_at = [&](Word address) -> Word {
    const std::uint8_t* bytes = core.bus().memory(address);
    if (bytes == nullptr || core.bus().memory(address + 1) != bytes + 1) return 0;
    return static_cast<Word>(bytes[0] | bytes[1] << 8);
  };
  const auto length = [](Word half) -> Word { return half >> 11 >= 0b11101 ? 4 : 2; };
  pc += length(half_at(pc));
  for (int i = 0; i < instructions_looked_at; ++i) {
    const Word first = half_at(pc), second = half_at(pc + 2);
    if (first >> 11 == 0b00000 && (first >> 6 & 0x1f) != 0)  // LSLS: into sign or carry
      return Word{1} << (31 - (first >> 6 & 0x1f));
    if ((first & 0xfbe0) == 0xf000 && !(second >> 15)) return expanded(first, second);  // AND, TST
    if ((first & 0xfff0) == 0xf3c0) {                                                   // UBFX
      const Word place = (second >> 12 & 7) << 2 | (second >> 6 & 3);
      return ((Word{2} << (second & 0x1f)) - 1) << place;
    }
    if (first >> 12 == 0xd || (first & 0xf500) == 0xb100) break;  // a branch: tested whole
    pc += length(first);
  }
  return std::nullopt;
}

void Guesses::touched(Word address, std::string name, bool written, Cycle at) {
  touches_.push_back({address, std::move(name), written, at, core_.cpu().pc()});
}

void Guesses::read(Word address, Word value, Cycle at, const KeptRegisters& registers,
                   Word offset) {
  const Word pc = core_.cpu().pc();
  if (address != last_address_ || pc != last_pc_ || value != last_value_) reads_ = 0;
  last_address_ = address;
  last_pc_ = pc;
  last_value_ = value;
  if (++reads_ != reads_of_a_loop) return;
  for (const PollLoop& known : loops_)
    if (known.address == address && known.pc == pc) return;
  loops_.push_back({address, pc, registers.name_of(offset), at, tested_bits(core_, pc)});
}

void Guesses::in_vain(const char* block, Word address, bool written, Obstacle obstacle) {
  const Word pc = core_.cpu().pc();
  for (InVain& known : in_vain_)
    if (known.pc == pc && known.block == block && known.obstacle == obstacle) {
      ++known.count;
      return;
    }
  if (in_vain_.size() < most_in_vain)
    in_vain_.push_back({block, obstacle, address, pc, written, 1});
}

std::string Guesses::describe(const InVain& i) const {
  constexpr const char* why[] = {"touched with its clock off", "held in reset",
                                 "protected (PWR_CR.DBP is 0)"};
  const std::string where = i.address != 0 ? fmt::format(" (0x{:08x})", i.address) : std::string();
  return fmt::format("{}{} {}: {} {} at {}", i.block, where, why[static_cast<int>(i.obstacle)],
                     i.count, i.written ? "in vain, a write" : "in vain, a read",
                     core_.describe(i.pc));
}

void Guesses::remark(std::string_view block, std::string_view what) {
  std::string text =
      fmt::format("{}: {}; first at {}", block, what, core_.describe(core_.cpu().pc()));
  const std::string_view head = std::string_view(text).substr(0, block.size() + 2 + what.size());
  for (const std::string& known : remarks_)
    if (known.starts_with(head)) return;
  remarks_.push_back(std::move(text));
}

std::string Guesses::describe(const PollLoop& loop) const {
  return fmt::format("waiting for {} (0x{:08x}){} at {}", loop.name, loop.address,
                     loop.mask ? bits_of(*loop.mask) : std::string(), core_.describe(loop.pc));
}
std::string Guesses::describe(const Touch& touch) const {
  return fmt::format("{} (0x{:08x}) {} first at {}", touch.name, touch.address,
                     touch.written ? "written" : "read", core_.describe(touch.pc));
}

KeptRegisters::KeptRegisters(Guesses& guesses, Word base, Word bytes, const char* name,
                             std::span<const RegisterRow> rows)
    : guesses_(guesses),
      base_(base),
      name_(name),
      rows_(rows),
      values_(bytes / 4),
      ones_clear_(bytes / 4),
      touched_(bytes / 4) {
  for (const RegisterRow& row : rows_) ones_clear_[row.offset / 4] = row.ones_clear;
  reset(0);
}

void KeptRegisters::reset(Cycle) noexcept {
  std::fill(values_.begin(), values_.end(), Word{0});
  for (const RegisterRow& row : rows_) values_[row.offset / 4] = row.reset;
}

std::string KeptRegisters::name_of(Word offset) const {
  for (const RegisterRow& row : rows_)
    if (row.offset == offset) return fmt::format("{}.{}", name_, row.name);
  return fmt::format("{}+0x{:02x}", name_, offset);
}

void KeptRegisters::note(Word offset, bool written, Cycle at) {
  if (touched_[offset / 4]) return;
  touched_[offset / 4] = true;
  guesses_.touched(base_ + offset, name_of(offset), written, at);
}

Word KeptRegisters::read(Word offset, Cycle at) noexcept {
  note(offset, false, at);
  guesses_.read(base_ + offset, values_[offset / 4], at, *this, offset);
  return values_[offset / 4];
}

void KeptRegisters::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  note(offset, true, at);
  guesses_.written();
  Word& kept = values_[offset / 4];
  const Word clears = ones_clear_[offset / 4];
  kept = (kept & ~(mask & ~clears)) | (value & ~clears);
  kept &= ~(value & clears);
}

}  // namespace stillrotor::io::cortexm
