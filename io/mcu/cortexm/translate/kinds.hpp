// What a handler does, as far as it can be written down in the host's code.
//
// A handler that is not named here is called: every instruction can be part of a unit.
//
// RT     the table is made with the first Translation; looking up does not allocate.
#pragma once

#include "io/mcu/cortexm/execute_data.hpp"
#include "io/mcu/cortexm/execute_memory.hpp"

namespace stillrotor::io::cortexm::translate {

enum class Does : std::uint8_t {
  call,          // anything: its handler is called
  call_loading,  // the same, and it charges a load
  call_away,     // the same, and what comes next in memory is not what comes next
  nothing,
  data,
  compute,
  multiply_flags,
  long_product,
  load,
  store,
  load_double,
  store_double,
  load_multiple,
  store_multiple,
  branch_if,
  branch_always,
  branch_with_link,
  branch_to_register,
  compare_and_branch,
  if_then,
  float_binary,
  float_chained,
  float_fused,
  float_unary,
  float_compare,
  status_to_flags,
  float_to_core,
  float_from_core,
  float_load,
  float_store,
  float_multiple
};
enum class Compute : std::uint8_t {
  move_top,
  insert_field,
  unsigned_field,
  signed_field,
  extend,  // bits, is_signed
  multiply,
  multiply_add,
  multiply_subtract,
  leading_zeros,
  reversed_bytes
};
enum class Binary : std::uint8_t { sum, difference, product, negative_product, quotient };
enum class Unary : std::uint8_t { copy, absolute, negative, immediate, root, to_whole, from_whole };

struct Kind {
  Does does = Does::call;
  // data
  Alu alu{};
  Operand operand{};
  bool sets_flags = false;
  Keep keep{};
  // memory
  Index index{};
  std::uint8_t bytes = 0;  // also: singles of a floating-point access
  bool is_signed = false;
  bool down = false;
  // the rest
  Compute compute{};
  Binary binary{};
  Unary unary{};
  std::uint8_t bits = 0;        // of what is extended
  std::uint8_t condition = 14;  // of a branch
  bool not_zero = false;
  bool loads = false;                                  // float_multiple
  bool negate_addend = false, negate_product = false;  // chained and fused
};

Kind kind_of(Handler) noexcept;

}  // namespace stillrotor::io::cortexm::translate
