#include "io/mcu/cortexm/translation.hpp"

#include <algorithm>
#include <cstring>
#include <unordered_map>

#include "io/mcu/cortexm/translate/code_memory.hpp"
#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace translate;

constexpr std::size_t memory_bytes = 16u << 20;
/// More than the longest unit can take.
constexpr std::size_t room_for_unit = 256u << 10;
/// How much an arrival counts, and when there have been enough: a translation costs as much as some
/// hundred arrivals without it.
constexpr unsigned by_jump = 5, in_passing = 1, enough = 240, settled = 255;
/// Every so many arrivals in passing count: what they would gain is a few instructions each.
constexpr unsigned passing_counts = 4;
/// Steps from where on a unit ends where another one begins.
constexpr std::size_t enough_from_jump = 12, enough_in_passing = 4;
/// Code that changes over and over is left to the interpreter.
constexpr std::uint64_t most_drops = 200;

class HostCode final : public Translation {
 public:
  explicit HostCode(Cpu& c) : c_(c), memory_(memory_bytes) {
    if (memory_.is_there()) write_common();
  }
  ~HostCode() override { drop(); }
  HostCode(const HostCode&) = delete;
  HostCode& operator=(const HostCode&) = delete;
  bool is_there() const noexcept { return memory_.is_there(); }

  void execute() noexcept override {
    Cpu& c = c_;
    arrive(c.ip, in_passing);
    while (c.cycle < c.stop) {
      const Op* const op = c.ip;
      if (is_stale_) drop();
      if (op->translated.entry != 0) {
        ++count_.entered;
        enter_(&c, memory_.executed() + op->translated.entry);
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
      std::int8_t& leans = op->translated.leans;
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
    Translated& t = op->translated;
    if (t.entry != 0 || t.met == settled) return;
    if (weight == in_passing && ++passed_ % passing_counts != 0) return;
    const unsigned met = t.met + weight;
    t.met = static_cast<std::uint8_t>(std::min(met, enough));
    if (met < enough || is_stale_ || c_.code.timing.unit || count_.dropped > most_drops) return;
    t.met = settled;
    translate(op, weight == in_passing ? enough_in_passing : enough_from_jump);
  }

  void write_common();
  void translate(const Op*, std::size_t long_enough);
  void drop() noexcept;
  void mark(const Op* op) {
    if (op == nullptr || op->translated.is_inside) return;
    op->translated.is_inside = true;
    marked_.push_back(op);
  }

  Cpu& c_;
  CodeMemory memory_;
  std::size_t used_ = 0, common_bytes_ = 0;
  bool is_stale_ = false;
  unsigned passed_ = 0;
  Common common_;
  Enter enter_ = nullptr;
  std::vector<const Op*> marked_;
  std::unordered_multimap<const Op*, std::uint8_t*> open_links_;
};

/// At 0: the way out, which is where an instruction without a unit "begins".
void HostCode::write_common() {
  Xbyak::CodeGenerator a(memory_bytes, memory_.written());
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
  const auto entry = static_cast<int>(reinterpret_cast<std::uint8_t*>(&any.translated.entry) -
                                      reinterpret_cast<std::uint8_t*>(&any));
  a.mov(a.ecx, a.dword[a.rax + entry]);
  a.mov(a.rdx, reinterpret_cast<std::uint64_t>(memory_.executed()));
  a.add(a.rdx, a.rcx);
  a.jmp(a.rdx);
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
  a.align(16);
  used_ = common_bytes_ = a.getSize();
  const std::uint8_t* const executed = memory_.executed() + (enter - memory_.written());
  std::memcpy(&enter_, &executed, sizeof enter_);
}

void HostCode::translate(const Op* first, std::size_t long_enough) {
  const Unit unit = find_unit(c_, first, long_enough);
  if (unit.steps.empty()) return;
  if (used_ + room_for_unit > memory_bytes) {
    is_stale_ = true;
    return;
  }
  std::uint8_t* const at = memory_.written() + used_;
  Xbyak::CodeGenerator a(memory_bytes - used_, at);
  Writer writer(c_, common_, a, unit);
  writer.write();
  used_ += (a.getSize() + 15) / 16 * 16;
  first->translated.entry = static_cast<std::uint32_t>(at - memory_.written());
  mark(first);
  for (const Step& s : unit.steps) {
    mark(s.op);
    mark(s.op + s.op->halfwords - 1);
  }
  for (const Op* const literal : writer.folded()) mark(literal);
  const auto lead = [](std::uint8_t* jump, const std::uint8_t* to) {
    const auto distance = static_cast<std::int32_t>(to - (jump + 5));
    std::memcpy(jump + 1, &distance, sizeof distance);
  };
  for (const Link& link : writer.links())
    if (link.to->translated.entry != 0)
      lead(link.jump, memory_.written() + link.to->translated.entry);
    else
      open_links_.emplace(link.to, link.jump);
  const auto [from, to] = open_links_.equal_range(first);
  for (auto link = from; link != to; ++link) lead(link->second, at);
  open_links_.erase(from, to);
  ++count_.units;
}

void HostCode::drop() noexcept {
  for (const Op* const op : marked_) op->translated = {};
  marked_.clear();
  open_links_.clear();
  used_ = common_bytes_;
  is_stale_ = false;
  ++count_.dropped;
}

}  // namespace

std::unique_ptr<Translation> make_translation(Cpu& c) {
  auto made = std::make_unique<HostCode>(c);
  return made->is_there() ? std::move(made) : nullptr;
}

}  // namespace stillrotor::io::cortexm
