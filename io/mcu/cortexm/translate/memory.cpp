// Loads and stores (execute_memory.hpp, and those of execute_float.hpp). RAM is met at once, other
// memory a little later, peripherals as peripherals.cpp says, and all else by the handler.
#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr auto near = Xbyak::CodeGenerator::T_NEAR;

}  // namespace

/// Where the access goes, if that is known now.
bool Writer::is_static(Word& address) const noexcept {
  const Op& o = op();
  Word base = 0, index = 0;
  if (!known(o.n, base)) return false;
  const Does does = step().kind.does;
  const bool single = does == Does::load || does == Does::store;
  if (single && step().kind.index == Index::register_offset) {
    if (!known(o.m, index)) return false;
    address = base + (index << o.shift);
    return true;
  }
  const bool indexed = single || does == Does::load_double || does == Does::store_double;
  address = indexed && step().kind.index == Index::post ? base : base + o.imm;
  return true;
}

/// RAM, or flash where it is read. nullptr: something else.
std::uint8_t* Writer::memory_at(Word address, unsigned bytes, bool written) const noexcept {
  for (const Area* area : {&c_.bus.sram, &c_.bus.ccm, &c_.bus.flash}) {
    if (written && area == &c_.bus.flash) continue;
    const Word offset = address - area->base;
    if (offset < area->bytes && bytes <= area->bytes - offset) return area->data + offset;
  }
  return nullptr;
}

/// Cpu::charge_load(), of which all is known here but for what came before the unit: where a load
/// came just then, the handler does this one.
void Writer::charge_load(std::uint8_t reg) {
  const Op& o = op();
  if (places_.last_load == LastLoad::as_in_memory) {
    a_.cmp(a_.r14, member(&c_.last_load, 64));
    detour(jump_if(equal), [this] { leave_by_handler(); });
  }
  const bool follows = places_.last_load == LastLoad::just_now && o.cycles == 1;
  places_.passed += o.cycles + (follows && places_.loaded != o.n ? 0u : 1u);
  places_.last_load = LastLoad::just_now;
  places_.loaded = reg;
}

/// More than one in a unit is as one: what counts is whether there was any.
void Writer::count_effect() {
  if (!places_.counted_effect) a_.inc(member(&c_.effects, 64));
  places_.counted_effect = true;
}

/// Leaves in ecx where in the RAM the access begins, in units of its size; elsewhere: away.
void Writer::find_in_ram(Word base_offset, unsigned size, unsigned bytes, bool written,
                         Jumps& away) {
  const Op& o = op();
  const Area& ram = c_.bus.sram;
  const auto offset = [&](Word value) { return static_cast<int>(value - ram.base); };
  const Does does = step().kind.does;
  Word value = 0;
  if ((does == Does::load || does == Does::store) && step().kind.index == Index::register_offset) {
    if (known(o.m, value))
      a_.lea(a_.ecx, a_.ptr[get(o.n).cvt64() + offset(value << o.shift)]);
    else if (known(o.n, value))
      a_.lea(a_.ecx, a_.ptr[get(o.m).cvt64() * (1 << o.shift) + offset(value)]);
    else {
      const Reg n = get(o.n), m = get(o.m);
      a_.lea(a_.ecx, a_.ptr[n.cvt64() + m.cvt64() * (1 << o.shift) + offset(0)]);
    }
  } else {
    a_.lea(a_.ecx, a_.ptr[get(o.n).cvt64() + offset(base_offset)]);
  }
  if (size > 1) a_.ror(a_.ecx, static_cast<int>(size / 2));
  a_.cmp(a_.ecx, (ram.bytes - bytes) / size);
  away.add(jump_if(above));
  if (written && c_.code.runs_from_ram()) {
    for (const unsigned end : {0u, bytes - size}) {
      a_.lea(a_.eax, a_.ptr[a_.rcx * static_cast<int>(size) + static_cast<int>(end)]);
      a_.shr(a_.eax, Code::page_bits);
      a_.mov(a_.rdx, reinterpret_cast<std::uint64_t>(c_.code.ram_pages()));
      a_.cmp(a_.byte[a_.rdx + a_.rax], 0);
      away.add(jump_if(not_equal));
      if (bytes == size) break;
    }
  }
}

void Writer::take(Reg to, const Xbyak::RegExp& from) {
  const Kind& k = step().kind;
  if (k.bytes == 4)
    a_.mov(to, a_.dword[from]);
  else if (k.bytes == 2)
    k.is_signed ? a_.movsx(to, a_.word[from]) : a_.movzx(to, a_.word[from]);
  else
    k.is_signed ? a_.movsx(to, a_.byte[from]) : a_.movzx(to, a_.byte[from]);
}

/// From a register that is cached already.
void Writer::put(const Xbyak::RegExp& to, unsigned r) {
  const unsigned bytes = step().kind.bytes;
  const Reg from = get(r);
  if (bytes == 4)
    a_.mov(a_.dword[to], from);
  else if (bytes == 2)
    a_.mov(a_.word[to], from.cvt16());
  else
    a_.mov(a_.byte[to], from.cvt8());
}

void Writer::write_back() {
  const Op& o = op();
  const Index index = step().kind.index;
  if (index != Index::pre && index != Index::post) return;
  Word value = 0;
  if (known(o.n, value)) {
    value += o.imm;
    set_known(o.n, o.n == 13 ? value & ~Word{3} : value);
    return;
  }
  const Reg n = get(o.n);
  a_.add(n, o.imm);
  if (o.n == 13) a_.and_(n, ~Word{3});
  bind(o.n, n);
}

void Writer::write_load() {
  const Op& o = op();
  const Kind& k = step().kind;
  Word address = 0;
  const bool moves_base = k.index == Index::pre || k.index == Index::post;
  if (is_static(address)) {
    const std::uint8_t* const at =
        address % k.bytes == 0 ? memory_at(address, k.bytes, false) : nullptr;
    if (at == nullptr) {
      if (!write_outside_memory(address)) call_step();
      return;
    }
    if (moves_base) overwrite(o.n);
    overwrite(o.d);
    charge_load(o.d);
    const bool in_ram = at >= c_.bus.sram.data && at < c_.bus.sram.data + c_.bus.sram.bytes;
    const bool in_flash = at >= c_.bus.flash.data && at < c_.bus.flash.data + c_.bus.flash.bytes;
    if (in_flash) {
      Word value = 0;
      std::memcpy(&value, at, k.bytes);
      if (k.is_signed) value = sign_extended(value, 8u * k.bytes);
      folded_.push_back(c_.code.find(address & ~Word{1}));
      folded_.push_back(c_.code.find((address + k.bytes - 1) & ~Word{1}));
      write_back();
      set_known(o.d, value);
      return;
    }
    const Reg to = fresh();
    if (in_ram) {
      take(to, a_.r13 + static_cast<int>(at - c_.bus.sram.data));
    } else {
      a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(at));
      take(to, a_.rax);
    }
    write_back();
    bind(o.d, to);
    return;
  }
  if (moves_base) overwrite(o.n);
  overwrite(o.d);
  Word index = 0;
  if (!known(o.n, index)) get(o.n);
  if (k.index == Index::register_offset && !known(o.m, index)) get(o.m);
  const Reg to = fresh();
  const Places before = places_;
  Jumps away;
  find_in_ram(k.index == Index::post ? 0 : o.imm, k.bytes, k.bytes, false, away);
  take(to, a_.r13 + a_.rcx * k.bytes);
  const std::uint8_t* const taken = here();
  charge_load(o.d);
  write_back();
  bind(o.d, to);
  or_by_handler(before, away, [this, taken, to, size = int{k.bytes}](Jumps&) {
    const Area* last = &c_.bus.sram;
    for (const Area* area : {&c_.bus.flash, &c_.bus.ccm}) {
      if (area->bytes == 0) continue;
      if (size > 1) a_.rol(a_.ecx, size / 2);
      a_.add(a_.ecx, last->base - area->base);
      if (size > 1) a_.ror(a_.ecx, size / 2);
      a_.cmp(a_.ecx, area->bytes / static_cast<unsigned>(size));
      const Jump other = jump_if(not_below);
      a_.mov(a_.rdx, reinterpret_cast<std::uint64_t>(area->data));
      take(to, a_.rdx + a_.rcx * size);
      a_.jmp(taken, near);
      lead(other, here());
      last = area;
    }
  });
}

void Writer::write_store() {
  const Op& o = op();
  const Kind& k = step().kind;
  Word address = 0, value = 0;
  const bool moves_base = k.index == Index::pre || k.index == Index::post;
  const bool is_fixed = is_static(address);
  std::uint8_t* const at =
      is_fixed && address % k.bytes == 0 ? memory_at(address, k.bytes, true) : nullptr;
  if (is_fixed && at == nullptr) {
    if (!write_outside_memory(address)) call_step();
    return;
  }
  if (moves_base) overwrite(o.n);
  if (!is_fixed && !known(o.n, value)) get(o.n);
  if (!is_fixed && k.index == Index::register_offset && !known(o.m, value)) get(o.m);
  const bool number = k.bytes == 4 && known(o.d, value) && places_.core[o.d].host == nowhere;
  if (!number) get(o.d);
  const Word number_value = value;
  count_effect();
  const Places before = places_;
  Jumps away;
  const auto store = [&](const Xbyak::RegExp& to) {
    if (number)
      a_.mov(a_.dword[to], number_value);
    else
      put(to, o.d);
  };
  const bool in_ram =
      is_fixed && at >= c_.bus.sram.data && at < c_.bus.sram.data + c_.bus.sram.bytes;
  if (in_ram) {
    const auto offset = static_cast<Word>(at - c_.bus.sram.data);
    if (c_.code.runs_from_ram()) {
      a_.mov(a_.rdx,
             reinterpret_cast<std::uint64_t>(c_.code.ram_pages() + (offset >> Code::page_bits)));
      a_.cmp(a_.byte[a_.rdx], 0);
      away.add(jump_if(not_equal));
    }
    store(a_.r13 + static_cast<int>(offset));
  } else if (is_fixed) {
    a_.mov(a_.rdx, reinterpret_cast<std::uint64_t>(at));
    store(a_.rdx);
  } else {
    find_in_ram(k.index == Index::post ? 0 : o.imm, k.bytes, k.bytes, true, away);
    store(a_.r13 + a_.rcx * k.bytes);
  }
  pass(o.cycles);
  write_back();
  if (!away.empty()) or_by_handler(before, away);
}

void Writer::write_double(bool load) {
  const Op& o = op();
  const Kind& k = step().kind;
  const bool moves_base = k.index == Index::pre || k.index == Index::post;
  Word address = 0;
  const bool is_fixed = is_static(address);
  std::uint8_t* const at = is_fixed && address % 4 == 0 ? memory_at(address, 8, !load) : nullptr;
  if (is_fixed &&
      (at == nullptr || !(at >= c_.bus.sram.data && at < c_.bus.sram.data + c_.bus.sram.bytes))) {
    call_step();
    return;
  }
  if (moves_base) overwrite(o.n);
  if (load) {
    overwrite(o.d);
    overwrite(o.a);
  }
  get(o.n);
  if (!load) {
    get(o.d);
    get(o.a);
    count_effect();
  }
  Reg first = a_.eax, second = a_.eax;
  if (load) {
    first = fresh();
    second = fresh();
  }
  const Places before = places_;
  Jumps away;
  find_in_ram(k.index == Index::post ? 0 : o.imm, 4, 8, !load, away);
  if (load) {
    a_.mov(first, a_.dword[a_.r13 + a_.rcx * 4]);
    a_.mov(second, a_.dword[a_.r13 + a_.rcx * 4 + 4]);
  } else {
    a_.mov(a_.dword[a_.r13 + a_.rcx * 4], get(o.d));
    a_.mov(a_.dword[a_.r13 + a_.rcx * 4 + 4], get(o.a));
  }
  pass(o.cycles + 2u);
  write_back();
  if (load) {
    bind(o.d, first);
    bind(o.a, second);
  }
  or_by_handler(before, away);
}

void Writer::write_multiple(bool load) {
  const Op& o = op();
  const bool down = step().kind.down;
  const Word bytes = 4u * o.m;
  Word value = 0;
  if (known(o.n, value)) {
    call_step();
    return;
  }
  if (o.a) overwrite(o.n);
  if (load)
    for (unsigned r = 0; r < 15; ++r)
      if (o.imm >> r & 1) overwrite(r);
  if (!load) count_effect();
  get(o.n);
  const Places before = places_;
  Jumps away;
  find_in_ram(down ? 0 - bytes : 0, 4, bytes, !load, away);
  int at = 0;
  const auto move_base = [&] {
    if (!o.a) return;
    const Reg n = get(o.n);
    down ? a_.sub(n, bytes) : a_.add(n, bytes);
    bind(o.n, n);
  };
  if (load) move_base();
  for (unsigned r = 0; r < 15; ++r) {
    if (!(o.imm >> r & 1)) continue;
    const auto place = a_.dword[a_.r13 + a_.rcx * 4 + at];
    at += 4;
    Place& p = places_.core[r];
    if (load) {
      a_.mov(a_.eax, place);
      a_.mov(guest(r), a_.eax);
      p = {};
    } else if (p.host != nowhere) {
      a_.mov(place, Reg(p.host));
    } else if (p.known) {
      a_.mov(place, p.value);
    } else {
      a_.mov(a_.eax, guest(r));
      a_.mov(place, a_.eax);
    }
  }
  if (!load) move_base();
  pass(o.cycles + unsigned{o.m});
  or_by_handler(before, away);
}

void Writer::write_float_load() {
  const Op& o = op();
  const unsigned singles = step().kind.bytes;
  Word address = 0;
  const bool is_fixed = is_static(address);
  const std::uint8_t* const at =
      is_fixed && address % 4 == 0 ? memory_at(address, 4 * singles, false) : nullptr;
  if (is_fixed && at == nullptr) {
    if (!write_outside_memory(address)) call_step();
    return;
  }
  overwrite_single(o.d);
  if (singles == 2) overwrite_single(o.d + 1u);
  if (!is_fixed) get(o.n);
  const Xmm first = fresh_single(), second = singles == 2 ? fresh_single() : first;
  const Places before = places_;
  Jumps away;
  const std::uint8_t* taken = nullptr;
  const auto take_from = [this, first, second, singles](const Xbyak::RegExp& from) {
    a_.movss(first, a_.dword[from]);
    if (singles == 2) a_.movss(second, a_.dword[from + 4]);
  };
  if (is_fixed) {
    const bool in_ram = at >= c_.bus.sram.data && at < c_.bus.sram.data + c_.bus.sram.bytes;
    if (in_ram) {
      take_from(a_.r13 + static_cast<int>(at - c_.bus.sram.data));
    } else {
      a_.mov(a_.rdx, reinterpret_cast<std::uint64_t>(at));
      take_from(a_.rdx);
    }
  } else {
    find_in_ram(o.imm, 4, 4 * singles, false, away);
    take_from(a_.r13 + a_.rcx * 4);
    taken = here();
  }
  charge_load(16);
  if (singles == 2) pass(1);
  bind_single(o.d, first);
  if (singles == 2) bind_single(o.d + 1u, second);
  if (is_fixed) return;
  or_by_handler(before, away, [this, taken, take_from, singles](Jumps& in_vain) {
    const Area& area = c_.bus.flash;
    a_.rol(a_.ecx, 2);
    a_.add(a_.ecx, c_.bus.sram.base - area.base);
    a_.ror(a_.ecx, 2);
    a_.cmp(a_.ecx, (area.bytes - 4 * singles) / 4);
    in_vain.add(jump_if(above));
    a_.mov(a_.rdx, reinterpret_cast<std::uint64_t>(area.data));
    take_from(a_.rdx + a_.rcx * 4);
    a_.jmp(taken, near);
  });
}

void Writer::write_float_store() {
  const Op& o = op();
  const unsigned singles = step().kind.bytes;
  Word address = 0;
  const bool is_fixed = is_static(address);
  const std::uint8_t* const at =
      is_fixed && address % 4 == 0 ? memory_at(address, 4 * singles, true) : nullptr;
  const bool in_ram =
      at != nullptr && at >= c_.bus.sram.data && at < c_.bus.sram.data + c_.bus.sram.bytes;
  if (is_fixed && (!in_ram || c_.code.runs_from_ram())) {
    if (!write_outside_memory(address)) call_step();
    return;
  }
  if (!is_fixed) get(o.n);
  const Xmm first = get_single(o.d), second = singles == 2 ? get_single(o.d + 1u) : first;
  count_effect();
  const Places before = places_;
  Jumps away;
  const auto put_to = [&](const Xbyak::RegExp& to) {
    a_.movss(a_.dword[to], first);
    if (singles == 2) a_.movss(a_.dword[to + 4], second);
  };
  if (is_fixed) {
    put_to(a_.r13 + static_cast<int>(at - c_.bus.sram.data));
  } else {
    find_in_ram(o.imm, 4, 4 * singles, true, away);
    put_to(a_.r13 + a_.rcx * 4);
  }
  pass(o.cycles + singles);
  if (!is_fixed) or_by_handler(before, away);
}

void Writer::write_float_multiple() {
  const Op& o = op();
  const bool load = step().kind.loads, down = o.shift & 2;
  const Word bytes = 4u * o.a;
  Word value = 0;
  if (known(o.n, value)) {
    call_step();
    return;
  }
  if (o.shift & 1) overwrite(o.n);
  if (load)
    for (unsigned i = 0; i < o.a; ++i) overwrite_single(o.d + i);
  if (!load) count_effect();
  const Reg n = get(o.n);
  const Places before = places_;
  Jumps away;
  find_in_ram(down ? 0 - bytes : 0, 4, bytes, !load, away);
  for (unsigned i = 0; i < o.a; ++i) {
    const auto place = a_.dword[a_.r13 + a_.rcx * 4 + static_cast<int>(4 * i)];
    SinglePlace& p = places_.single[o.d + i];
    if (load) {
      a_.mov(a_.eax, place);
      a_.mov(guest_single(o.d + i), a_.eax);
      p = {};
    } else if (p.host != nowhere) {
      a_.movss(place, Xmm(p.host));
    } else {
      a_.mov(a_.eax, guest_single(o.d + i));
      a_.mov(place, a_.eax);
    }
  }
  if (o.shift & 1) {
    down ? a_.sub(n, bytes) : a_.add(n, bytes);
    bind(o.n, n);
  }
  pass(o.cycles + unsigned{o.a});
  or_by_handler(before, away);
}

}  // namespace stillrotor::io::cortexm::translate
