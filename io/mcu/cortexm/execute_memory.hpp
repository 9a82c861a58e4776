// Loads and stores.
//
// Where n is 15, r[15] is 0 and imm the address: a literal. What faults leaves its registers as
// they were (DDI 0403E, B1.5.9).
//
// Source ARM DDI 0403E: A3.4 exclusive accesses, A7.7 instructions.
#pragma once

#include "io/mcu/cortexm/cpu.hpp"

namespace stillrotor::io::cortexm {

enum class Index : std::uint8_t { offset, pre, post, register_offset };

template <Index I>
Word address_of_access(const Cpu& c, const Op* op) noexcept {
  if constexpr (I == Index::post) return c.r[op->n];
  if constexpr (I == Index::register_offset) return c.r[op->n] + (c.r[op->m] << op->shift);
  return c.r[op->n] + op->imm;
}
template <Index I>
void write_back(Cpu& c, const Op* op) noexcept {
  if constexpr (I == Index::pre || I == Index::post) {
    c.r[op->n] += op->imm;
    if (op->n == 13) c.r[13] &= ~Word{3};
  }
}
/// T: std::uint8_t to Word; the signed ones are sign-extended.
template <class T>
Word widened(Word value) noexcept {
  return static_cast<Word>(static_cast<std::int32_t>(static_cast<T>(value)));
}

template <class T>
T taken_from(const std::uint8_t* place) noexcept {
  T value;
  std::memcpy(&value, place, sizeof value);
  return value;
}
template <class T>
void put_to(std::uint8_t* place, T value) noexcept {
  std::memcpy(place, &value, sizeof value);
}

template <class T, Index I>
[[gnu::noinline]] const Op* load_register_elsewhere(Cpu& c, const Op* op) {
  c.charge_load(op);
  Word value = 0;
  if (!c.load_elsewhere(address_of_access<I>(c, op), sizeof(T), value)) return op;
  write_back<I>(c, op);
  c.r[op->d] = widened<T>(value);
  return next(op);
}
template <class T, Index I>
const Op* load_register(Cpu& c, const Op* op) {
  const std::uint8_t* place;
  if (!c.readable<T>(address_of_access<I>(c, op), place))
    return load_register_elsewhere<T, I>(c, op);
  c.charge_load(op);
  write_back<I>(c, op);
  c.r[op->d] = widened<T>(static_cast<Word>(taken_from<T>(place)));
  return next(op);
}
/// LDR to SP or PC.
template <Index I>
const Op* load_stack_pointer(Cpu& c, const Op* op) {
  c.charge_load(op);
  Word value = 0;
  if (!c.load<Word>(address_of_access<I>(c, op), value)) return op;
  write_back<I>(c, op);
  c.r[13] = value & ~Word{3};
  return next(op);
}
template <Index I>
const Op* load_pc(Cpu& c, const Op* op) {
  c.charge_load(op);
  Word value = 0;
  if (!c.load<Word>(address_of_access<I>(c, op), value)) return op;
  write_back<I>(c, op);
  return c.branch_exchange(value, op);
}
template <class T, Index I>
[[gnu::noinline]] const Op* store_register_elsewhere(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  if (!c.store_elsewhere(address_of_access<I>(c, op), sizeof(T), static_cast<T>(c.r[op->d])))
    return op;
  write_back<I>(c, op);
  return after;
}
template <class T, Index I>
const Op* store_register(Cpu& c, const Op* op) {
  std::uint8_t* place;
  if (!c.writable<T>(address_of_access<I>(c, op), place))
    return store_register_elsewhere<T, I>(c, op);
  put_to(place, static_cast<T>(c.r[op->d]));
  write_back<I>(c, op);
  return next(op);
}
/// LDRT, STRT and their like: as unprivileged code would (system space is closed to it).
template <Handler H>
const Op* unprivileged(Cpu& c, const Op* op) {
  const Word address = address_of_access<Index::offset>(c, op);
  if (address < 0xE0000000) return H(c, op);
  c.raise(Trap::bus_fault, bus_error::precise | bus_error::address_valid, op);
  c.trap_has_address = true;
  c.trap_value = address;
  return op;
}

/// Second register in a.
template <Index I>
const Op* load_double(Cpu& c, const Op* op) {
  const Word address = address_of_access<I>(c, op);
  Word first = 0, second = 0;
  c.spend(1);
  if (!c.load_aligned(address, first)) return op;
  c.spend(1);
  if (!c.load_aligned(address + 4, second)) return op;
  write_back<I>(c, op);
  c.r[op->d] = first;
  c.r[op->a] = second;
  return next(op);
}
template <Index I>
const Op* store_double(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  const Word address = address_of_access<I>(c, op);
  c.spend(1);
  if (!c.store_aligned(address, c.r[op->d])) return op;
  c.spend(1);
  if (!c.store_aligned(address + 4, c.r[op->a])) return op;
  write_back<I>(c, op);
  return after;
}

/// imm: the list, m: how many. a: the base is written back. Down: decrement before.
template <bool Down>
[[gnu::noinline]] const Op* load_multiple_elsewhere(Cpu& c, const Op* op) {
  const Word bytes = 4u * op->m;
  const Word base = c.r[op->n], start = Down ? base - bytes : base;
  std::array<Word, 16> loaded;
  Word address = start;
  for (unsigned i = 0; i < 16; ++i) {
    if (!(op->imm >> i & 1)) continue;
    c.spend(1);
    if (!c.load_aligned(address, loaded[i])) return op;
    address += 4;
  }
  if (op->a) c.r[op->n] = Down ? start : base + bytes;
  for (unsigned i = 0; i < 15; ++i)
    if (op->imm >> i & 1) c.r[i] = loaded[i];
  return op->imm >> 15 ? c.branch_exchange(loaded[15], op) : next(op);
}
template <bool Down>
const Op* load_multiple(Cpu& c, const Op* op) {
  const Word bytes = 4u * op->m;
  const Word base = c.r[op->n], start = Down ? base - bytes : base;
  const std::uint8_t *place, *last;
  if (!c.readable<Word>(start, place) || !c.readable<Word>(start + bytes - 4, last))
    return load_multiple_elsewhere<Down>(c, op);
  c.spend(op->m);
  if (op->a) c.r[op->n] = Down ? start : base + bytes;
  for (Word rest = op->imm & 0x7fff; rest != 0; rest &= rest - 1, place += 4)
    c.r[static_cast<unsigned>(std::countr_zero(rest))] = taken_from<Word>(place);
  return op->imm >> 15 ? c.branch_exchange(taken_from<Word>(place), op) : next(op);
}
template <bool Down>
[[gnu::noinline]] const Op* store_multiple_elsewhere(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  const Word bytes = 4u * op->m;
  const Word base = c.r[op->n], start = Down ? base - bytes : base;
  Word address = start;
  for (unsigned i = 0; i < 15; ++i) {
    if (!(op->imm >> i & 1)) continue;
    c.spend(1);
    if (!c.store_aligned(address, c.r[i])) return op;
    address += 4;
  }
  if (op->a) c.r[op->n] = Down ? start : base + bytes;
  return after;
}
template <bool Down>
const Op* store_multiple(Cpu& c, const Op* op) {
  const Word bytes = 4u * op->m;
  const Word base = c.r[op->n], start = Down ? base - bytes : base;
  std::uint8_t *place, *last;
  if (!c.writable<Word>(start, place) || !c.writable<Word>(start + bytes - 4, last))
    return store_multiple_elsewhere<Down>(c, op);
  c.spend(op->m);
  for (Word rest = op->imm; rest != 0; rest &= rest - 1, place += 4)
    put_to(place, c.r[static_cast<unsigned>(std::countr_zero(rest))]);
  if (op->a) c.r[op->n] = Down ? start : base + bytes;
  return next(op);
}

template <class T>
const Op* load_exclusive(Cpu& c, const Op* op) {
  c.charge_load(op);
  const Word address = c.r[op->n] + op->imm;
  if ((address & (sizeof(T) - 1)) != 0) return c.usage_fault(usage::unaligned, op);
  Word value = 0;
  if (!c.load<T>(address, value)) return op;
  c.r[op->d] = value;
  c.exclusive = true;
  return next(op);
}
/// The local monitor knows no address: any store is the one meant (A3.4.1). Result in a.
template <class T>
const Op* store_exclusive(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  const Word address = c.r[op->n] + op->imm;
  c.spend(1);
  if ((address & (sizeof(T) - 1)) != 0) return c.usage_fault(usage::unaligned, op);
  const bool may = c.exclusive;
  if (may && !c.store<T>(address, c.r[op->d])) return op;
  c.exclusive = false;
  c.r[op->a] = may ? 0 : 1;
  return after;
}
inline const Op* clear_exclusive(Cpu& c, const Op* op) {
  c.exclusive = false;
  return next(op);
}

/// TBB, TBH: the table's entries are half the way from imm (PC).
template <class T>
const Op* table_branch(Cpu& c, const Op* op) {
  Word entry = 0;
  c.spend(1);
  const Word base = op->n == 15 ? op->imm : c.r[op->n];
  if (!c.load<T>(base + (c.r[op->m] << op->shift), entry)) return op;
  return c.branch(op->imm + 2 * entry);
}

}  // namespace stillrotor::io::cortexm
