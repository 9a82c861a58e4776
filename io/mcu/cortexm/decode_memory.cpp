// 32-bit loads and stores (A5.3.5 to A5.3.10).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_control.hpp"
#include "io/mcu/cortexm/execute_memory.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

enum class Form : std::uint8_t { offset, pre, post, register_offset, unprivileged };

template <Index I>
Handler load_of(unsigned size, bool is_signed) {
  switch (size) {
    case 0:
      return is_signed ? load_register<std::int8_t, I> : load_register<std::uint8_t, I>;
    case 1:
      return is_signed ? load_register<std::int16_t, I> : load_register<std::uint16_t, I>;
    default:
      return load_register<Word, I>;
  }
}
template <Index I>
Handler store_of(unsigned size) {
  return size == 0   ? store_register<std::uint8_t, I>
         : size == 1 ? store_register<std::uint16_t, I>
                     : store_register<Word, I>;
}
Handler unprivileged_of(unsigned size, bool is_signed, bool load) {
  constexpr Index I = Index::offset;
  if (!load)
    return size == 0   ? unprivileged<store_register<std::uint8_t, I>>
           : size == 1 ? unprivileged<store_register<std::uint16_t, I>>
                       : unprivileged<store_register<Word, I>>;
  if (size == 0)
    return is_signed ? unprivileged<load_register<std::int8_t, I>>
                     : unprivileged<load_register<std::uint8_t, I>>;
  if (size == 1)
    return is_signed ? unprivileged<load_register<std::int16_t, I>>
                     : unprivileged<load_register<std::uint16_t, I>>;
  return unprivileged<load_register<Word, I>>;
}
template <Index I>
Decoded load_word_to(Op& op) {
  if (op.d == 15) return executes(op, load_pc<I>, ends_block<load_pc<I>>);
  if (op.d == 13) return executes(op, load_stack_pointer<I>);
  return executes(op, load_register<Word, I>);
}

Decoded single(const Encoding& e, Op& op) {
  const bool load = e.bit(20), is_signed = e.bit(24);
  const unsigned size = e.field(22, 21);
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(15, 12));
  op.m = reg(e.field(3, 0));
  if (size == 3 || (is_signed && (!load || size == 2))) return Decoded::undefined;
  Form form = Form::offset;
  if (op.n == 15) {
    if (!load) return Decoded::undefined;
    op.imm = e.bit(23) ? e.aligned_pc() + e.field(11, 0) : e.aligned_pc() - e.field(11, 0);
  } else if (e.bit(23)) {
    op.imm = e.field(11, 0);
  } else if (e.bit(11)) {
    const bool index = e.bit(10), add = e.bit(9), back = e.bit(8);
    if (!index && !back) return Decoded::undefined;
    op.imm = add ? e.field(7, 0) : 0 - e.field(7, 0);
    if (index && add && !back)
      form = Form::unprivileged;
    else if (back)
      form = index ? Form::pre : Form::post;
    if (back && op.n == op.d) return Decoded::unpredictable;
  } else {
    if (e.field(10, 6) != 0) return Decoded::undefined;
    if (is_sp_or_pc(op.m)) return Decoded::unpredictable;
    op.shift = reg(e.field(5, 4));
    form = Form::register_offset;
  }
  if (load && size < 2 && op.d == 15) {
    // PLD, PLI and unallocated hints; with write-back or unprivileged they are none.
    if (form == Form::pre || form == Form::post || form == Form::unprivileged)
      return Decoded::unpredictable;
    return executes(op, no_operation);
  }
  if (size < 2 ? is_sp_or_pc(op.d) : op.d == 15 && (!load || form == Form::unprivileged))
    return Decoded::unpredictable;
  if (form == Form::unprivileged) {
    if (op.d == 13) return Decoded::unpredictable;
    return executes(op, unprivileged_of(size, is_signed, load));
  }
  if (load && size == 2) {
    switch (form) {
      case Form::pre:
        return load_word_to<Index::pre>(op);
      case Form::post:
        return load_word_to<Index::post>(op);
      case Form::register_offset:
        return load_word_to<Index::register_offset>(op);
      default:
        return load_word_to<Index::offset>(op);
    }
  }
  const auto pick = [&]<Index I>() {
    return executes(op, load ? load_of<I>(size, is_signed) : store_of<I>(size));
  };
  switch (form) {
    case Form::pre:
      return pick.operator()<Index::pre>();
    case Form::post:
      return pick.operator()<Index::post>();
    case Form::register_offset:
      return pick.operator()<Index::register_offset>();
    default:
      return pick.operator()<Index::offset>();
  }
}

Decoded multiple(const Encoding& e, Op& op) {
  const bool load = e.bit(20), back = e.bit(21), up = e.bit(23);
  op.n = reg(e.field(19, 16));
  op.imm = e.field(15, 0);
  op.m = reg(static_cast<Word>(std::popcount(op.imm)));
  op.a = back;
  if (up == e.bit(24)) return Decoded::undefined;
  const bool pc = e.bit(15);
  if (op.n == 15 || std::popcount(op.imm) < 2 || e.bit(13) || (load ? pc && e.bit(14) : pc) ||
      (back && op.imm >> op.n & 1))
    return Decoded::unpredictable;
  if (!load) return executes(op, up ? store_multiple<false> : store_multiple<true>);
  const Handler plain = up ? load_multiple<false> : load_multiple<true>;
  if (!pc) return executes(op, plain);
  return executes(op, plain,
                  up ? ends_block<load_multiple<false>> : ends_block<load_multiple<true>>);
}

Decoded dual(const Encoding& e, Op& op) {
  const bool load = e.bit(20), index = e.bit(24), add = e.bit(23), back = e.bit(21);
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(15, 12));
  op.a = reg(e.field(11, 8));
  const Word offset = 4 * e.field(7, 0);
  op.imm = add ? offset : 0 - offset;
  if (is_sp_or_pc(op.d) || is_sp_or_pc(op.a) || (load && op.d == op.a) ||
      (back && (op.n == op.d || op.n == op.a)))
    return Decoded::unpredictable;
  if (op.n == 15) {
    if (!load || back) return Decoded::unpredictable;
    op.imm += e.aligned_pc();
  }
  if (!back) return executes(op, load ? load_double<Index::offset> : store_double<Index::offset>);
  if (index) return executes(op, load ? load_double<Index::pre> : store_double<Index::pre>);
  return executes(op, load ? load_double<Index::post> : store_double<Index::post>);
}

Decoded exclusive_word(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(15, 12));
  op.a = reg(e.field(11, 8));
  op.imm = 4 * e.field(7, 0);
  if (op.n == 15 || is_sp_or_pc(op.d)) return Decoded::unpredictable;
  if (e.bit(20)) return op.a == 15 ? executes(op, load_exclusive<Word>) : Decoded::unpredictable;
  if (is_sp_or_pc(op.a) || op.a == op.n || op.a == op.d) return Decoded::unpredictable;
  return executes(op, store_exclusive<Word>);
}

template <class T>
Decoded exclusive_narrow(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(15, 12));
  op.a = reg(e.field(3, 0));
  if (op.n == 15 || is_sp_or_pc(op.d) || e.field(11, 8) != 15) return Decoded::unpredictable;
  if (e.bit(20)) return op.a == 15 ? executes(op, load_exclusive<T>) : Decoded::unpredictable;
  if (is_sp_or_pc(op.a) || op.a == op.n || op.a == op.d) return Decoded::unpredictable;
  return executes(op, store_exclusive<T>);
}

template <class T>
Decoded table(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.m = reg(e.field(3, 0));
  op.imm = e.pc();
  op.shift = sizeof(T) / 2;
  if (op.n == 13 || is_sp_or_pc(op.m) || e.field(15, 8) != 0xf0) return Decoded::unpredictable;
  return executes(op, table_branch<T>, ends_block<table_branch<T>>);
}

constexpr Row rows[] = {
    {0xfe400000, 0xe8000000, multiple},
    {0xffe00000, 0xe8400000, exclusive_word},
    {0xffe000f0, 0xe8c00040, exclusive_narrow<std::uint8_t>},
    {0xffe000f0, 0xe8c00050, exclusive_narrow<std::uint16_t>},
    {0xfff000f0, 0xe8d00000, table<std::uint8_t>},
    {0xfff000f0, 0xe8d00010, table<std::uint16_t>},
    {0xfe000000, 0xf8000000, single},
};

}  // namespace

Decoded decode_memory(const Encoding& e, Op& op) {
  // The dual forms are what of 1110100xx1 has an index or a write-back.
  if ((e.bits & 0xfe400000) == 0xe8400000 && (e.bit(24) || e.bit(21))) return dual(e, op);
  return look_up(rows, e, op);
}

}  // namespace stillrotor::io::cortexm
