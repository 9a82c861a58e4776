#include "io/mcu/cortexm/translate/kinds.hpp"

#include <unordered_map>
#include <utility>

#include "io/mcu/cortexm/execute_control.hpp"
#include "io/mcu/cortexm/execute_float.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

using Table = std::unordered_map<Handler, Kind>;

template <Alu F, Operand K, bool S, Keep W>
void add_data(Table& t) {
  t[data<F, K, S, W>] = {.does = Does::data, .alu = F, .operand = K, .sets_flags = S, .keep = W};
}
template <Alu F, Operand K>
void add_alu_with(Table& t) {
  add_data<F, K, false, Keep::result>(t);
  add_data<F, K, true, Keep::result>(t);
  if constexpr (F == Alu::and_ || F == Alu::eor || F == Alu::add || F == Alu::sub)
    add_data<F, K, true, Keep::flags_only>(t);
  if constexpr (F == Alu::add || F == Alu::sub || F == Alu::mov)
    add_data<F, K, false, Keep::stack_pointer>(t);
}
template <Alu F>
void add_alu(Table& t) {
  add_alu_with<F, Operand::immediate>(t);
  add_alu_with<F, Operand::plain>(t);
  add_alu_with<F, Operand::lsl>(t);
  add_alu_with<F, Operand::lsr>(t);
  add_alu_with<F, Operand::asr>(t);
  add_alu_with<F, Operand::ror>(t);
}

template <auto F>
void add_compute(Table& t, Compute what, unsigned bits = 0, bool is_signed = false) {
  t[compute<F>] = {.does = Does::compute,
                   .is_signed = is_signed,
                   .compute = what,
                   .bits = static_cast<std::uint8_t>(bits)};
}

template <class T, Index I>
void add_load(Table& t) {
  t[load_register<T, I>] = {
      .does = Does::load, .index = I, .bytes = sizeof(T), .is_signed = std::is_signed_v<T>};
}
template <class T, Index I>
void add_store(Table& t) {
  t[store_register<T, I>] = {.does = Does::store, .index = I, .bytes = sizeof(T)};
}
template <Index I>
void add_memory(Table& t) {
  add_load<Word, I>(t);
  add_load<std::uint16_t, I>(t);
  add_load<std::int16_t, I>(t);
  add_load<std::uint8_t, I>(t);
  add_load<std::int8_t, I>(t);
  add_store<Word, I>(t);
  add_store<std::uint16_t, I>(t);
  add_store<std::uint8_t, I>(t);
  t[load_pc<I>] = {.does = Does::call_away};
  t[load_stack_pointer<I>] = {.does = Does::call_loading};
  if constexpr (I != Index::register_offset) {
    t[load_double<I>] = {.does = Does::load_double, .index = I, .bytes = 4};
    t[store_double<I>] = {.does = Does::store_double, .index = I, .bytes = 4};
  }
}

template <unsigned... C>
void add_branches(Table& t, std::integer_sequence<unsigned, C...>) {
  ((t[branch_if<C>] = {.does = Does::branch_if, .condition = C}), ...);
}

template <bool NegateAddend, bool NegateProduct>
void add_chain(Table& t) {
  t[float_chained<NegateAddend, NegateProduct>] = {
      .does = Does::float_chained, .negate_addend = NegateAddend, .negate_product = NegateProduct};
  t[float_fused<NegateAddend, NegateProduct>] = {
      .does = Does::float_fused, .negate_addend = NegateAddend, .negate_product = NegateProduct};
}

Table make_table() {
  Table t;
  add_alu<Alu::and_>(t);
  add_alu<Alu::bic>(t);
  add_alu<Alu::orr>(t);
  add_alu<Alu::orn>(t);
  add_alu<Alu::eor>(t);
  add_alu<Alu::mov>(t);
  add_alu<Alu::mvn>(t);
  add_alu<Alu::add>(t);
  add_alu<Alu::sub>(t);
  add_alu<Alu::rsb>(t);

  add_compute<move_top>(t, Compute::move_top);
  add_compute<insert_field>(t, Compute::insert_field);
  add_compute<unsigned_field>(t, Compute::unsigned_field);
  add_compute<signed_field>(t, Compute::signed_field);
  add_compute<extend_add<8, false>>(t, Compute::extend, 8, false);
  add_compute<extend_add<8, true>>(t, Compute::extend, 8, true);
  add_compute<extend_add<16, false>>(t, Compute::extend, 16, false);
  add_compute<extend_add<16, true>>(t, Compute::extend, 16, true);
  add_compute<multiply>(t, Compute::multiply);
  add_compute<multiply_add>(t, Compute::multiply_add);
  add_compute<multiply_subtract>(t, Compute::multiply_subtract);
  add_compute<count_leading_zeros>(t, Compute::leading_zeros);
  add_compute<reversed_bytes>(t, Compute::reversed_bytes);
  t[multiply_flags] = {.does = Does::multiply_flags, .sets_flags = true};
  t[compute_long<long_multiply<true, false>>] = {.does = Does::long_product, .is_signed = true};
  t[compute_long<long_multiply<false, false>>] = {.does = Does::long_product};

  add_memory<Index::offset>(t);
  add_memory<Index::pre>(t);
  add_memory<Index::post>(t);
  add_memory<Index::register_offset>(t);
  t[load_multiple<false>] = {.does = Does::load_multiple, .bytes = 4};
  t[load_multiple<true>] = {.does = Does::load_multiple, .bytes = 4, .down = true};
  t[store_multiple<false>] = {.does = Does::store_multiple, .bytes = 4};
  t[store_multiple<true>] = {.does = Does::store_multiple, .bytes = 4, .down = true};
  for (const Handler h :
       {load_exclusive<Word>, load_exclusive<std::uint16_t>, load_exclusive<std::uint8_t>})
    t[h] = {.does = Does::call_loading};

  add_branches(t, std::make_integer_sequence<unsigned, 14>{});
  t[branch_always] = {.does = Does::branch_always};
  t[branch_with_link] = {.does = Does::branch_with_link};
  t[branch_to_register] = {.does = Does::branch_to_register};
  t[compare_and_branch<false>] = {.does = Does::compare_and_branch};
  t[compare_and_branch<true>] = {.does = Does::compare_and_branch, .not_zero = true};
  t[no_operation] = {.does = Does::nothing};
  t[if_then] = {.does = Does::if_then};
  for (const Handler h :
       {branch_to_itself, branch_to_register_with_link, table_branch<std::uint8_t>,
        table_branch<std::uint16_t>, wait_for<Trap::wait_for_interrupt>,
        wait_for<Trap::wait_for_event>, supervisor_call, breakpoint, permanently_undefined})
    t[h] = {.does = Does::call_away};

  t[float_binary<Sum>] = {.does = Does::float_binary, .binary = Binary::sum};
  t[float_binary<Difference>] = {.does = Does::float_binary, .binary = Binary::difference};
  t[float_binary<Product>] = {.does = Does::float_binary, .binary = Binary::product};
  t[float_binary<NegativeProduct>] = {.does = Does::float_binary,
                                      .binary = Binary::negative_product};
  t[float_binary<Quotient>] = {.does = Does::float_binary, .binary = Binary::quotient};
  add_chain<false, false>(t);
  add_chain<false, true>(t);
  add_chain<true, false>(t);
  add_chain<true, true>(t);
  t[float_unary<float_copy>] = {.does = Does::float_unary, .unary = Unary::copy};
  t[float_unary<float_absolute>] = {.does = Does::float_unary, .unary = Unary::absolute};
  t[float_unary<float_negative>] = {.does = Does::float_unary, .unary = Unary::negative};
  t[float_unary<float_immediate>] = {.does = Does::float_unary, .unary = Unary::immediate};
  t[float_unary<float_root>] = {.does = Does::float_unary, .unary = Unary::root};
  t[float_unary<float_to_fixed>] = {.does = Does::float_unary, .unary = Unary::to_whole};
  t[float_unary<float_from_fixed>] = {.does = Does::float_unary, .unary = Unary::from_whole};
  t[float_compare] = {.does = Does::float_compare};
  t[status_to_flags] = {.does = Does::status_to_flags};
  t[float_to_core] = {.does = Does::float_to_core};
  t[float_from_core] = {.does = Does::float_from_core};
  t[float_load<1>] = {.does = Does::float_load, .bytes = 1};
  t[float_load<2>] = {.does = Does::float_load, .bytes = 2};
  t[float_store<1>] = {.does = Does::float_store, .bytes = 1};
  t[float_store<2>] = {.does = Does::float_store, .bytes = 2};
  t[float_multiple<true>] = {.does = Does::float_multiple, .loads = true};
  t[float_multiple<false>] = {.does = Does::float_multiple};
  return t;
}

}  // namespace

Kind kind_of(Handler handler) noexcept {
  static const Table table = make_table();
  const auto found = table.find(handler);
  return found != table.end() ? found->second : Kind{};
}

}  // namespace stillrotor::io::cortexm::translate
