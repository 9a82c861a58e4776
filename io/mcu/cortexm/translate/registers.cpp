// Which of the guest's registers the host's hold.
#include <algorithm>
#include <vector>

#include "io/mcu/cortexm/translate/moves.hpp"
#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

using Xbyak::Operand;
constexpr std::array<int, 9> pool{Operand::ESI, Operand::EDI,  Operand::R8D,
                                  Operand::R9D, Operand::R10D, Operand::R11D,
                                  Operand::EBP, Operand::R12D, Operand::R15D};
constexpr int first_xmm = 2, last_xmm = 15;

}  // namespace

Xbyak::Address Writer::member(const void* of_cpu, unsigned bits) {
  const auto offset = static_cast<int>(static_cast<const std::uint8_t*>(of_cpu) -
                                       reinterpret_cast<const std::uint8_t*>(&c_));
  return Xbyak::Address(bits, false, a_.rbx + offset);
}

bool Writer::known(unsigned r, Word& value) const noexcept {
  value = places_.core[r].value;
  return places_.core[r].known;
}

Writer::Reg Writer::fresh() {
  const auto holder = [&](int host) {
    return std::find_if(places_.core.begin(), places_.core.end(),
                        [host](const Place& p) { return p.host == host; });
  };
  int best = pool[0];
  for (const int host : pool) {
    if (holder(host) == places_.core.end() && used_[static_cast<unsigned>(host)] + 4 < clock_) {
      best = host;
      break;
    }
    if (used_[static_cast<unsigned>(host)] < used_[static_cast<unsigned>(best)]) best = host;
  }
  if (const auto held = holder(best); held != places_.core.end()) {
    if (!held->in_memory && !held->known)
      a_.mov(guest(static_cast<unsigned>(held - places_.core.begin())), Reg(best));
    if (!held->known) held->in_memory = true;
    held->host = nowhere;
  }
  used_[static_cast<unsigned>(best)] = ++clock_;
  return Reg(best);
}

Writer::Xmm Writer::fresh_single() {
  const auto holder = [&](int host) {
    return std::find_if(places_.single.begin(), places_.single.end(),
                        [host](const SinglePlace& p) { return p.host == host; });
  };
  int best = first_xmm;
  for (int host = first_xmm; host <= last_xmm; ++host) {
    if (holder(host) == places_.single.end() &&
        used_single_[static_cast<unsigned>(host)] + 4 < clock_) {
      best = host;
      break;
    }
    if (used_single_[static_cast<unsigned>(host)] < used_single_[static_cast<unsigned>(best)])
      best = host;
  }
  if (const auto held = holder(best); held != places_.single.end()) {
    if (!held->in_memory)
      a_.movss(guest_single(static_cast<unsigned>(held - places_.single.begin())), Xmm(best));
    *held = {};
  }
  used_single_[static_cast<unsigned>(best)] = ++clock_;
  return Xmm(best);
}

Writer::Reg Writer::get(unsigned r) {
  Place& p = places_.core[r];
  if (p.host != nowhere) {
    used_[static_cast<unsigned>(p.host)] = ++clock_;
    return Reg(p.host);
  }
  const Reg host = fresh();
  if (p.known)
    a_.mov(host, p.value);
  else
    a_.mov(host, guest(r));
  if (r != 15) p.host = static_cast<std::int8_t>(host.getIdx());
  return host;
}

Writer::Xmm Writer::get_single(unsigned s) {
  SinglePlace& p = places_.single[s];
  if (p.host != nowhere) {
    used_single_[static_cast<unsigned>(p.host)] = ++clock_;
    return Xmm(p.host);
  }
  const Xmm host = fresh_single();
  a_.movss(host, guest_single(s));
  p.host = static_cast<std::int8_t>(host.getIdx());
  return host;
}

void Writer::bind(unsigned r, Reg host) {
  places_.core[r] = {false, static_cast<std::int8_t>(host.getIdx()), false, 0};
}
void Writer::bind_single(unsigned s, Xmm host) {
  places_.single[s] = {false, static_cast<std::int8_t>(host.getIdx())};
}
void Writer::set_known(unsigned r, Word value) { places_.core[r] = {false, nowhere, true, value}; }

void Writer::overwrite(unsigned r) {
  std::uint8_t lost = 0;
  if (places_.nz.mentions_core(r)) lost |= flag::nz;
  if (places_.carry.mentions_core(r)) lost |= flag::carry;
  if (places_.overflow.mentions_core(r)) lost |= flag::overflow;
  std::uint8_t wanted = 0;
  for (const std::uint8_t one : {flag::nz, flag::carry, flag::overflow})
    if ((lost & one) && lives(one)) wanted |= one;
  make(wanted);
  replace(lost);
}
void Writer::overwrite_single(unsigned s) {
  std::uint8_t lost = 0;
  if (places_.nz.mentions_single(s)) lost |= flag::nz;
  if (places_.carry.mentions_single(s)) lost |= flag::carry;
  if (places_.overflow.mentions_single(s)) lost |= flag::overflow;
  if (places_.float_status.mentions_single(s)) lost |= flag::float_status;
  std::uint8_t wanted = 0;
  for (const std::uint8_t one : {flag::nz, flag::carry, flag::overflow, flag::float_status})
    if ((lost & one) && lives(one)) wanted |= one;
  make(wanted);
  replace(lost);
}

/// Without a change of where the rest of the unit looks for them.
void Writer::store_registers() {
  for (unsigned r = 0; r < 15; ++r) {
    const Place& p = places_.core[r];
    if (p.in_memory) continue;
    if (p.host != nowhere)
      a_.mov(guest(r), Reg(p.host));
    else
      a_.mov(guest(r), p.value);
  }
  for (unsigned s = 0; s < 32; ++s)
    if (!places_.single[s].in_memory) a_.movss(guest_single(s), Xmm(places_.single[s].host));
}
void Writer::load_registers() {
  for (unsigned r = 0; r < 15; ++r)
    if (places_.core[r].host != nowhere) a_.mov(Reg(places_.core[r].host), guest(r));
  for (unsigned s = 0; s < 32; ++s)
    if (places_.single[s].host != nowhere) a_.movss(Xmm(places_.single[s].host), guest_single(s));
}
void Writer::all_in_memory() {
  for (unsigned r = 0; r < 15; ++r) places_.core[r] = {};
  places_.single = {};
  places_.nz = places_.carry = places_.overflow = places_.float_status = {};
  places_.passed = 0;
}

/// As a round leaves it, but for numbers, which are in memory: the next one may not know them.
Places Writer::at_begin_of_round(const Places& held) {
  Places begin = held;
  for (unsigned r = 0; r < 15; ++r) {
    Place& p = begin.core[r];
    p = {p.in_memory || p.known, p.host, false, 0};
  }
  begin.passed = 0;
  begin.counted_effect = begin.fp_ready = false;
  return begin;
}

/// What `to` has in registers is put there, and in memory what it has there.
void Writer::move_registers(const Places& from, const Places& to) {
  std::vector<Move> core, single;
  for (unsigned r = 0; r < 15; ++r) {
    const Place &at = from.core[r], &wanted = to.core[r];
    if (wanted.in_memory && !at.in_memory) {
      if (at.host != nowhere)
        a_.mov(guest(r), Reg(at.host));
      else
        a_.mov(guest(r), at.value);
    }
    if (wanted.host != nowhere && at.host != nowhere && at.host != wanted.host)
      core.push_back({wanted.host, at.host});
  }
  for (unsigned s = 0; s < 32; ++s) {
    const SinglePlace &at = from.single[s], &wanted = to.single[s];
    if (wanted.in_memory && !at.in_memory) a_.movss(guest_single(s), Xmm(at.host));
    if (wanted.host != nowhere && at.host != nowhere && at.host != wanted.host)
      single.push_back({wanted.host, at.host});
  }
  for (const Move& m : in_order(core, Operand::EAX)) a_.mov(Reg(m.to), Reg(m.from));
  for (const Move& m : in_order(single, 0)) a_.movaps(Xmm(m.to), Xmm(m.from));
  for (unsigned r = 0; r < 15; ++r) {
    const Place &at = from.core[r], &wanted = to.core[r];
    if (wanted.host == nowhere || at.host != nowhere) continue;
    if (at.known)
      a_.mov(Reg(wanted.host), at.value);
    else
      a_.mov(Reg(wanted.host), guest(r));
  }
  for (unsigned s = 0; s < 32; ++s)
    if (to.single[s].host != nowhere && from.single[s].host == nowhere)
      a_.movss(Xmm(to.single[s].host), guest_single(s));
}

}  // namespace stillrotor::io::cortexm::translate
