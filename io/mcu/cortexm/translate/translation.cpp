#include "io/mcu/cortexm/translation.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <unordered_map>
#include <utility>

#include "io/mcu/cortexm/translate/code_memory.hpp"
#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace translate;

constexpr std::size_t memory_bytes = 16u << 20;
/// Where less is left no more units are made, and where half of it is left all are dropped: room
/// for the detours that are met until that can be done.
constexpr std::size_t least_room = 1u << 20;
/// How much an arrival counts: a translation costs as much as some hundred without it.
constexpr unsigned by_jump = 5, in_passing = 1, settled = 255;
/// Every so many arrivals in passing count: what they would gain is a few instructions each.
constexpr unsigned passing_counts = 16;
/// Steps from where on a unit ends where another one begins.
constexpr std::size_t enough_from_jump = 12, enough_in_passing = 4;
/// Code that changes over and over is left to the interpreter.
constexpr std::uint64_t most_drops = 200;

class HostCode final : public Translation {
 public:
  HostCode(Cpu& c, std::unique_ptr<const CodeMemory> memory)
      : c_(c), memory_(std::move(memory)), a_(memory_bytes, memory_->written()) {
    write_common();
  }
  ~HostCode() override { drop(); }
  HostCode(const HostCode&) = delete;
  HostCode& operator=(const HostCode&) = delete;

  void execute() noexcept override {
    Cpu& c = c_;
    arrive(c.ip, in_passing);
    while (c.cycle < c.stop) {
      const Op* const op = c.ip;
      if (is_stale_) drop();
      if (op->found.entry != 0) {
        ++count_.entered;
        enter_(&c, memory_->executed() + op->found.entry);
        const bool stopped = c.cycle >= c.stop;
        arrive(c.ip, stopped ? in_passing : by_jump);
        if (stopped) break;
        if (c.ip != op) continue;
      }
      ++count_.alone;
      c.cycle += op->cycles;
      const Op* const after = op->execute(c, op);
      c.ip = after;
      const bool jumped = after != next(op);
      std::int8_t& leans = op->found.leans;
      leans = static_cast<std::int8_t>(std::clamp(leans + (jumped ? 1 : -1), -100, 100));
      arrive(after, jumped ? by_jump : in_passing);
    }
  }

  /// Units may be running at this moment: they are left behind this instruction and dropped then.
  void forgotten() noexcept override {
    is_stale_ = true;
    c_.stop = 0;
  }

 private:
  using Enter = void (*)(Cpu*, const std::uint8_t*);

  void arrive(const Op* op, unsigned weight) noexcept {
    Findings& t = op->found;
    if (t.entry != 0 || t.met == settled) return;
    if (weight == in_passing && ++passed_ % passing_counts != 0) return;
    const unsigned met = t.met + weight;
    t.met = static_cast<std::uint8_t>(std::min(met, settled - 1));
    if (met < patience_ || is_stale_ || c_.code.timing.unit || count_.dropped > most_drops) return;
    t.met = settled;
    translate(op, weight == in_passing ? enough_in_passing : enough_from_jump);
  }

  void write_common();
  std::uint8_t* begin() noexcept;
  void finish(Writer&);
  static const std::uint8_t* write_detour(HostCode*, const std::uint8_t* numbers,
                                          Word ecx) noexcept;
  void translate(const Op*, std::size_t long_enough);
  void drop() noexcept;
  void mark(const Op* op) {
    if (op == nullptr || op->found.is_inside) return;
    op->found.is_inside = true;
    marked_.push_back(op);
  }

  Cpu& c_;
  const std::unique_ptr<const CodeMemory> memory_;
  Xbyak::CodeGenerator a_;
  std::size_t common_bytes_ = 0;
  bool is_stale_ = false;
  unsigned passed_ = 0;
  Common common_;
  Enter enter_ = nullptr;
  std::vector<std::unique_ptr<Writer>> writers_;
  std::vector<const Op*> marked_;
  std::unordered_multimap<const Op*, Jump> open_links_;
};

/// At 0: the way out, which is where an instruction without a unit "begins".
void HostCode::write_common() {
  Xbyak::CodeGenerator& a = a_;
  const auto here = [&] { return static_cast<const std::uint8_t*>(a.getCurr()); };
  const auto offset_of = [this](const void* of_cpu) {
    return static_cast<int>(static_cast<const std::uint8_t*>(of_cpu) -
                            reinterpret_cast<const std::uint8_t*>(&c_));
  };
  common_.leave = here();
  a.mov(a.qword[a.rbx + offset_of(&c_.ip)], a.rax);
  a.mov(a.qword[a.rbx + offset_of(&c_.cycle)], a.r14);
  a.add(a.rsp, 8);
  for (const Xbyak::Reg64& saved : {a.r15, a.r14, a.r13, a.r12, a.rbp, a.rbx}) a.pop(saved);
  a.ret();
  a.align(16);
  common_.go_on = here();
  Op any{};
  const auto entry = static_cast<int>(reinterpret_cast<std::uint8_t*>(&any.found.entry) -
                                      reinterpret_cast<std::uint8_t*>(&any));
  a.mov(a.ecx, a.dword[a.rax + entry]);
  a.mov(a.rdx, reinterpret_cast<std::uint64_t>(memory_->executed()));
  a.add(a.rdx, a.rcx);
  a.jmp(a.rdx);
  // Nothing of the guest's may be lost, and a function of the host's keeps few registers.
  common_.first_time = here();
  const std::array kept{a.rax, a.rcx, a.rdx, a.rsi, a.rdi, a.r8, a.r9, a.r10, a.r11};
  constexpr int floats = 16, float_bytes = 16;
  const auto numbers = a.qword[a.rsp + (floats * float_bytes + static_cast<int>(8 * kept.size()))];
  for (const Xbyak::Reg64& r : kept) a.push(r);
  a.sub(a.rsp, floats * float_bytes);
  for (int i = 0; i < floats; ++i) a.movups(a.ptr[a.rsp + float_bytes * i], Xbyak::Xmm(i));
  a.mov(a.rdi, reinterpret_cast<std::uint64_t>(this));
  a.mov(a.rsi, numbers);
  a.mov(a.edx, a.ecx);
  a.mov(a.rax, reinterpret_cast<std::uint64_t>(&write_detour));
  a.call(a.rax);
  a.mov(numbers, a.rax);
  for (int i = 0; i < floats; ++i) a.movups(Xbyak::Xmm(i), a.ptr[a.rsp + float_bytes * i]);
  a.add(a.rsp, floats * float_bytes);
  for (auto r = kept.rbegin(); r != kept.rend(); ++r) a.pop(*r);
  a.ret();
  a.align(16);
  common_.sign_bits = here();
  for (int i = 0; i < 4; ++i) a.dd(0x80000000);
  common_.other_bits = here();
  for (int i = 0; i < 4; ++i) a.dd(0x7fffffff);
  common_.comparisons = here();
  for (const std::uint8_t byte : comparisons()) a.db(byte);
  const std::uint8_t* const enter = here();
  for (const Xbyak::Reg64& saved : {a.rbx, a.rbp, a.r12, a.r13, a.r14, a.r15}) a.push(saved);
  a.sub(a.rsp, 8);
  a.mov(a.rbx, a.rdi);
  a.mov(a.r14, a.qword[a.rbx + offset_of(&c_.cycle)]);
  a.mov(a.r13, a.qword[a.rbx + offset_of(&c_.bus.sram.data)]);
  a.jmp(a.rsi);
  common_bytes_ = a.getSize();
  const std::uint8_t* const executed = memory_->executed() + (enter - memory_->written());
  std::memcpy(&enter_, &executed, sizeof enter_);
}

/// Where the next piece is written.
std::uint8_t* HostCode::begin() noexcept {
  a_.setSize((a_.getSize() + 15) / 16 * 16);
  return memory_->written() + a_.getSize();
}

/// What others have to know of the piece that has just been written.
void HostCode::finish(Writer& writer) {
  for (const Op* const literal : writer.take_folded()) mark(literal);
  for (const Link& link : writer.take_links())
    if (link.to->found.entry != 0)
      lead(link.jump, memory_->written() + link.to->found.entry);
    else
      open_links_.emplace(link.to, link.jump);
}

/// On the way there for the first time. Returns where it stands.
const std::uint8_t* HostCode::write_detour(HostCode* self, const std::uint8_t* numbers,
                                           Word ecx) noexcept {
  std::uint32_t unit = 0, detour = 0;
  std::memcpy(&unit, numbers, sizeof unit);
  std::memcpy(&detour, numbers + sizeof unit, sizeof detour);
  const std::uint8_t* const at = self->begin();
  Writer& writer = *self->writers_[unit];
  writer.write_detour(detour, ecx);
  self->finish(writer);
  if (self->a_.getSize() + least_room / 2 > memory_bytes) self->forgotten();
  ++self->count_.detours;
  return self->memory_->executed() + (at - self->memory_->written());
}

void HostCode::translate(const Op* first, std::size_t long_enough) {
  Unit unit = find_unit(c_, first, long_enough);
  if (unit.steps.empty()) return;
  if (a_.getSize() + least_room > memory_bytes) {
    is_stale_ = true;
    return;
  }
  const std::uint8_t* const at = begin();
  const auto number = static_cast<std::uint32_t>(writers_.size());
  Writer& writer =
      *writers_.emplace_back(std::make_unique<Writer>(c_, common_, a_, std::move(unit), number));
  writer.write();
  first->found.entry = static_cast<std::uint32_t>(at - memory_->written());
  mark(first);
  for (const Step& s : writer.unit().steps) {
    mark(s.op);
    mark(s.op + s.op->halfwords - 1);
  }
  finish(writer);
  const auto [from, to] = open_links_.equal_range(first);
  for (auto link = from; link != to; ++link) lead(link->second, at);
  open_links_.erase(from, to);
  ++count_.units;
}

void HostCode::drop() noexcept {
  for (const Op* const op : marked_) op->found = {};
  marked_.clear();
  open_links_.clear();
  writers_.clear();
  a_.setSize(common_bytes_);
  is_stale_ = false;
  ++count_.dropped;
}

}  // namespace

std::unique_ptr<Translation> make_translation(Cpu& c) {
  auto memory = std::make_unique<const CodeMemory>(memory_bytes);
  if (!memory->is_there()) return nullptr;
  return std::make_unique<HostCode>(c, std::move(memory));
}

}  // namespace stillrotor::io::cortexm
