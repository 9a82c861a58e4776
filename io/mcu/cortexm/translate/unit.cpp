#include "io/mcu/cortexm/translate/unit.hpp"

#include <algorithm>
#include <bit>
#include <optional>
#include <utility>

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr std::size_t most_steps = 80;
/// Cycles between two looks at the clock.
constexpr unsigned far_enough = 16;

bool is_call(Does d) noexcept { return d <= Does::call_away; }
bool is_float(Does d) noexcept { return d >= Does::float_binary; }
bool touches_memory(Does d) noexcept {
  return (d >= Does::load && d <= Does::store_multiple) || d >= Does::float_load;
}

/// What can be written down only with some operands.
Kind kind_at(const Op& op, Handler handler) {
  Kind kind = kind_of(handler);
  const bool is_hop = kind.does == Does::branch_if || kind.does == Does::branch_always ||
                      kind.does == Does::branch_with_link || kind.does == Does::compare_and_branch;
  if (is_hop && op.hop == 0)
    kind.does = kind.does == Does::branch_if || kind.does == Does::compare_and_branch
                    ? Does::call
                    : Does::call_away;
  if (kind.does == Does::load_multiple && op.imm >> 15) kind.does = Does::call_away;
  if (kind.does == Does::float_unary) {
    const bool is_plain =
        op.shift == 0 && (kind.unary == Unary::from_whole ? op.imm < 2 : op.imm >= 2 && op.a == 32);
    if ((kind.unary == Unary::to_whole || kind.unary == Unary::from_whole) && !is_plain)
      kind.does = Does::call;
  }
  return kind;
}

std::uint8_t replaced(const Op& op, const Kind& k) noexcept {
  if (k.does == Does::float_compare) return flag::float_status;
  if (k.does == Does::status_to_flags) return flag::core;
  if (k.does == Does::multiply_flags) return flag::nz;
  if (k.does != Does::data || !k.sets_flags) return 0;
  if (k.alu > Alu::mvn) return flag::core;
  const bool carries =
      k.operand == Operand::immediate ? op.carry != keep_carry : k.operand != Operand::plain;
  return flag::nz | (carries ? flag::carry : 0);
}

unsigned cycles_at_most(const Op& op, const Kind& k) noexcept {
  switch (k.does) {
    case Does::load:
      return op.cycles + 1u;
    case Does::load_double:
    case Does::store_double:
      return op.cycles + 2u;
    case Does::load_multiple:
    case Does::store_multiple:
      return op.cycles + unsigned{op.m};
    case Does::float_load:
    case Does::float_store:
      return op.cycles + unsigned{k.bytes};
    case Does::float_multiple:
      return op.cycles + unsigned{op.a};
    default:
      return op.cycles;
  }
}

bool may_write_link(const Op& op, const Kind& k) noexcept {
  constexpr unsigned link = 14;
  switch (k.does) {
    case Does::nothing:
    case Does::store_multiple:
    case Does::branch_if:
    case Does::branch_always:
    case Does::compare_and_branch:
    case Does::float_multiple:
      return false;
    case Does::load_multiple:
      return op.imm >> link & 1 || op.n == link;
    default:
      return is_call(k.does) || op.d == link || op.n == link || op.a == link;
  }
}

/// Without a way out but by its handler, and without a flag.
bool is_plain(const Op& op, const Kind& k) noexcept {
  if (replaced(op, k) != 0) return false;
  switch (k.does) {
    case Does::nothing:
    case Does::data:
    case Does::compute:
    case Does::long_product:
      return true;
    default:
      return touches_memory(k.does) || (is_float(k.does) && k.does != Does::status_to_flags);
  }
}

/// Inside an IT block, without a way out and without a register that moves.
bool is_simple(const Op& op, const Kind& k) noexcept {
  if (op.cycles != 1) return false;
  if (k.does == Does::data)
    return !k.sets_flags && k.keep == Keep::result && k.operand <= Operand::plain &&
           k.alu != Alu::orn;
  return k.does == Does::float_unary && k.unary <= Unary::immediate;
}

class Finder {
 public:
  Finder(Cpu& c, std::size_t long_enough) : c_(c), long_enough_(long_enough) {}

  Unit find(const Op* op) {
    Word address = c_.address_of(op);
    while (true) {
      if (steps().size() >= most_steps || c_.code.find(address) != op || !Code::is_decoded(op) ||
          is_inside(op) || (steps().size() >= long_enough_ && op->found.entry != 0))
        break;
      const std::size_t at = steps().size();
      steps().push_back({.op = op, .kind = kind_at(*op, op->execute), .then = next(op)});
      address += 2u * op->halfwords;
      if (steps()[at].kind.does == Does::if_then) take_block(at, address);
      finish(at, address);
      if (steps()[at].ends) {
        count_ahead();
        return std::move(unit_);
      }
      op = steps()[at].then;
    }
    unit_.falls_to = op;
    count_ahead();
    return std::move(unit_);
  }

 private:
  std::vector<Step>& steps() noexcept { return unit_.steps; }
  bool is_inside(const Op* op) const noexcept {
    return std::any_of(unit_.steps.begin(), unit_.steps.end(),
                       [op](const Step& s) { return s.op == op; });
  }

  /// The steps of the block behind an IT, or a call where they are not all simple.
  void take_block(std::size_t at, Word& then_at) {
    std::vector<Step> block;
    bool simple = true, plain = true;
    unsigned changes = 0;
    Word registers = 0;
    const Op* op = next(steps()[at].op);
    for (Word state = steps()[at].op->imm; (state & 0xf) != 0;
         state = (state & 7) == 0 ? 0 : (state & 0xe0) | (state << 1 & 0x1f)) {
      if (c_.code.find(then_at) != op || !Code::is_decoded(op)) {
        steps()[at].kind.does = Does::call;
        steps()[at].ends = true;
        return;
      }
      Step& s = block.emplace_back();
      s.op = op;
      s.kind = kind_at(*op, op->in_it);
      s.condition = static_cast<std::uint8_t>(state >> 4);
      s.it = static_cast<std::uint8_t>(state);
      s.most = cycles_at_most(*op, s.kind);
      s.leaves = touches_memory(s.kind.does);
      simple &= is_simple(*op, s.kind) && s.condition != 14;
      plain &= is_plain(*op, s.kind) && s.condition != 14;
      changes += block.size() > 1 && s.condition != block[block.size() - 2].condition;
      registers |= 1u << (op->d & 15) | 1u << (op->n & 15) | 1u << (op->m & 15);
      then_at += 2u * op->halfwords;
      op = s.then = next(op);
    }
    steps()[at].then = op;
    // One question, and room for all registers in the host's.
    const bool joined = simple && changes <= 1 && std::popcount(registers) <= 8;
    Step& it = steps()[at];
    if (!joined && !plain && (changes != 0 || block.front().condition == 14)) {
      it.kind.does = Does::call;
      return;
    }
    it.block = joined  ? Step::Block::joined
               : plain ? Step::Block::parted
                       : Step::Block::all_or_none;
    it.in_block = static_cast<std::uint8_t>(block.size());
    for (Step& s : block) {
      if (it.block == Step::Block::all_or_none) {
        s.kind = {.does = Does::nothing};
        s.most = 1;
        s.leaves = false;
      }
      // Nothing can be asked for when half of a block is done.
      ask_for_float(s);
      it.asks_fp_ready |= std::exchange(s.asks_fp_ready, false);
      it.asks_fp_mode |= std::exchange(s.asks_fp_mode, false);
    }
    it.leaves = !joined || it.asks_fp_ready || it.asks_fp_mode;
    steps().insert(steps().end(), block.begin(), block.end());
  }

  void finish(std::size_t at, Word& then_at) {
    Step& s = steps()[at];
    const Op& op = *s.op;
    s.most = cycles_at_most(op, s.kind);
    s.replaces = replaced(op, s.kind);
    switch (s.kind.does) {
      case Does::call:
      case Does::call_loading:
        s.leaves = true;
        break;
      case Does::call_away:
        s.leaves = s.ends = true;
        break;
      case Does::load:
      case Does::store:
      case Does::load_double:
      case Does::store_double:
      case Does::load_multiple:
      case Does::store_multiple:
      case Does::float_load:
      case Does::float_store:
      case Does::float_multiple:
      case Does::float_compare:
        s.leaves = true;
        break;
      case Does::branch_if:
      case Does::compare_and_branch:
        s.leaves = true;
        s.follows = op.found.leans > 0 && !is_short_way_back(op);
        s.ends = op.hop < 0 && op.found.leans >= 0 && !s.follows;
        if (s.follows) go_to_target(s, then_at);
        break;
      case Does::branch_always:
      case Does::branch_with_link:
        if (is_short_way_back(op)) {
          s.leaves = s.ends = true;
          if (s.kind.does == Does::branch_with_link) s.kind.does = Does::call_away;
        } else {
          go_to_target(s, then_at);
        }
        break;
      case Does::branch_to_register:
        come_back(s, then_at);
        break;
      case Does::if_then:
        s.reads = flag::core;
        break;
      default:
        break;
    }
    if (s.kind.does == Does::branch_with_link)
      link_ = then_of(op) | 1;
    else if (s.kind.does != Does::branch_to_register && may_write_link(op, s.kind))
      link_.reset();
    for (unsigned i = 1; i <= s.in_block; ++i)
      if (may_write_link(*steps()[at + i].op, steps()[at + i].kind)) link_.reset();
    if (s.in_block == 0) ask_for_float(s);
    if (is_call(s.kind.does)) fp_ready_ = fp_mode_ = false;
  }
  void go_to_target(Step& s, Word& then_at) {
    s.then = s.op + s.op->hop;
    s.most += 1 + c_.flash_wait;
    then_at = s.op->imm;
  }
  static Word then_of(const Op& link) noexcept {
    return link.imm - static_cast<Word>(2 * link.hop) + 4;
  }

  /// A return to where this unit called from.
  void come_back(Step& s, Word& then_at) {
    const Op* const to =
        s.op->m == 14 && link_ && (*link_ & 1) ? c_.code.find(*link_ & ~Word{1}) : nullptr;
    if (to == nullptr || to->halfwords == 0) {
      s.kind.does = Does::call_away;
      s.leaves = s.ends = true;
      return;
    }
    s.then = to;
    then_at = *link_ & ~Word{1};
    s.most += 3 + c_.flash_wait;
  }

  void ask_for_float(Step& s) {
    if (!is_float(s.kind.does)) return;
    const Does d = s.kind.does;
    const bool computes = d == Does::float_binary || d == Does::float_chained ||
                          d == Does::float_fused || d == Does::float_compare ||
                          (d == Does::float_unary && s.kind.unary >= Unary::root);
    s.asks_fp_ready = !std::exchange(fp_ready_, true);
    if (computes) s.asks_fp_mode = !std::exchange(fp_mode_, true);
    s.leaves |= s.asks_fp_ready | s.asks_fp_mode;
  }

  void count_ahead() {
    unsigned since = 0;
    for (std::size_t i = 0; i < steps().size(); ++i) {
      Step& s = steps()[i];
      const bool in_block = s.condition != 14;
      unsigned most = s.most;
      for (unsigned k = 1; k <= s.in_block; ++k) most += steps()[i + k].most;
      s.looks =
          i == 0 || (!in_block && (since + most > far_enough || is_call(steps()[i - 1].kind.does)));
      since = (s.looks ? 0 : since) + s.most;
    }
    for (std::size_t i = steps().size(); i-- > 0;) {
      Step& s = steps()[i];
      const bool last = i + 1 == steps().size() || steps()[i + 1].looks;
      s.ahead = last ? 0 : s.most + steps()[i + 1].ahead;
    }
  }

  Cpu& c_;
  const std::size_t long_enough_;
  Unit unit_;
  std::optional<Word> link_;
  bool fp_ready_ = false, fp_mode_ = false;
};

}  // namespace

bool Unit::lives(std::size_t step, std::uint8_t flags) const noexcept {
  for (std::size_t i = step + 1; i < steps.size(); ++i) {
    const Step& s = steps[i];
    if (s.looks || s.leaves || (s.reads & flags) != 0) return true;
    flags = static_cast<std::uint8_t>(flags & ~s.replaces);
    if (flags == 0) return false;
  }
  return true;
}

Unit find_unit(Cpu& c, const Op* first, std::size_t long_enough) {
  return Finder(c, long_enough).find(first);
}

}  // namespace stillrotor::io::cortexm::translate
