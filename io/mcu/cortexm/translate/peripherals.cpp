// A single datum to or from a peripheral, without the step's handler: where the address is known
// when the unit is written, or was met by the run.
#include <bit>

#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

template <unsigned Size>
Word read_outside(Bus& bus, Bus::WindowPlace window, Word address, Cycle at) noexcept {
  Word value = 0;
  bus.read_in(*window, address, Size, value, at, true);
  return value;
}
template <unsigned Size>
void write_outside(Bus& bus, Bus::WindowPlace window, Word address, Cycle at, Word value) noexcept {
  bus.write_in(*window, address, Size, value, at, true);
}

}  // namespace

/// At an address of a peripheral. The value is in r8d for a store, comes in eax from a load; it
/// ends with the access, which may move the clock and the end of the stretch.
template <class F>
void Writer::touch(Bus::WindowPlace window, Word address, F* access) {
  count_effect();
  a_.lea(a_.rcx, a_.ptr[a_.r14 + static_cast<int>(places_.passed)]);
  a_.mov(member(&c_.cycle, 64), a_.rcx);
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(&op()));
  a_.mov(member(&c_.ip, 64), a_.rax);
  a_.lea(a_.rdi, member(&c_.bus));
  a_.mov(a_.rsi, reinterpret_cast<std::uint64_t>(window));
  a_.mov(a_.edx, address);
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(access));
  a_.call(a_.rax);
  a_.mov(a_.r14, member(&c_.cycle, 64));
  places_.passed = 0;
}

/// Behind an access that may have moved the end of the stretch.
void Writer::look_again() {
  const std::size_t next = at_ + 1 + step().in_block;
  if (careful_ || next >= unit_.steps.size() || unit_.steps[next].looks) return;
  a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed + ahead_of_next())]);
  a_.cmp(a_.rax, member(&c_.stop, 64));
  detour(jump_if(not_below), [this] {
    store_state();
    if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
    a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(step().then));
    a_.jmp(common_.go_on, Xbyak::CodeGenerator::T_NEAR);
  });
}

/// The peripheral that the step moves a single datum to or from, where that address is its.
/// nullptr: none, or the step does more, or stands in an IT block.
Bus::WindowPlace Writer::peripheral_at(Word address) const noexcept {
  const Kind& k = step().kind;
  const bool core = k.does == Does::load || k.does == Does::store;
  const bool single = k.does == Does::float_load || k.does == Does::float_store;
  const unsigned size = single ? 4 : k.bytes;
  const bool moves_base = core && (k.index == Index::pre || k.index == Index::post);
  const bool is_one = core || (single && k.bytes == 1);
  if (!is_one || moves_base || is_in_block() || address % size != 0) return nullptr;
  return c_.bus.open_window(address);
}

/// Does the step there. What is loaded is in eax; nothing is cached any more.
void Writer::access_outside(Bus::WindowPlace window, Word address) {
  const Op& o = op();
  const Kind& k = step().kind;
  const bool single = k.does == Does::float_load || k.does == Does::float_store;
  const unsigned size = single ? 4 : k.bytes;
  if (k.does == Does::load || k.does == Does::float_load) {
    charge_load(single ? 16 : o.d);
    store_state();
    touch(window, address,
          size == 4   ? read_outside<4>
          : size == 2 ? read_outside<2>
                      : read_outside<1>);
    if (k.is_signed) size == 2 ? a_.movsx(a_.eax, a_.ax) : a_.movsx(a_.eax, a_.al);
    return;
  }
  store_state();
  a_.mov(a_.r8d, single ? guest_single(o.d) : guest(o.d));
  pass(single ? o.cycles + 1u : o.cycles);
  touch(window, address,
        size == 4   ? write_outside<4>
        : size == 2 ? write_outside<2>
                    : write_outside<1>);
}

/// Where the address is known now. false: it is no peripheral's.
bool Writer::write_outside_memory(Word address) {
  const Op& o = op();
  const Does does = step().kind.does;
  const Bus::WindowPlace window = peripheral_at(address);
  if (window == nullptr) return false;
  if (does == Does::load) overwrite(o.d);
  if (does == Does::float_load) overwrite_single(o.d);
  access_outside(window, address);
  if (does == Does::load) {
    const Reg to = fresh();
    a_.mov(to, a_.eax);
    bind(o.d, to);
  } else if (does == Does::float_load) {
    const Xmm to = fresh_single();
    a_.movd(to, a_.eax);
    bind_single(o.d, to);
  }
  look_again();
  return true;
}

/// In a detour away from the RAM: what the run meets there now, if that is a peripheral, is met
/// directly where the address is the same again. The jump is behind that, all in memory as behind a
/// call of the handler. nullptr: nothing has been written.
Jump Writer::write_peripheral_met() {
  Word known_address = 0;
  if (is_static(known_address)) return nullptr;
  const Does does = step().kind.does;
  const bool single = does == Does::float_load || does == Does::float_store;
  const auto turned = static_cast<int>((single ? 4u : step().kind.bytes) / 2);
  const Word address = std::rotl(met_ecx_, turned) + c_.bus.sram.base;
  const Bus::WindowPlace window = peripheral_at(address);
  if (window == nullptr) return nullptr;
  const Places places = places_;
  a_.cmp(a_.ecx, met_ecx_);
  const Jump another = jump_if(not_equal);
  access_outside(window, address);
  if (does == Does::load) a_.mov(guest(op().d), a_.eax);
  if (does == Does::float_load) a_.mov(guest_single(op().d), a_.eax);
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(step().then));
  const Jump done = jump();
  lead(another, here());
  places_ = places;
  return done;
}

}  // namespace stillrotor::io::cortexm::translate
