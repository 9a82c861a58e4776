// Types of the debug information as plain data: each that is asked for, and what it is made of.
//
// Source DWARF 5, 5.1 to 5.7; 2, 4.1 for bit fields and members of older compilers.
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include "io/mcu/image/dwarf_entry.hpp"
#include "io/mcu/image/variables.hpp"

namespace stillrotor::io::mcu {

class DebugTypes {
 public:
  /// That of a variable or member; nothing where its entry names none.
  std::optional<TypeIndex> of(Dwarf_Die& entry);
  /// Reads what was asked for, and what that is made of. Throws std::runtime_error: damaged, or
  /// more than fits.
  std::vector<ValueType> read();

 private:
  TypeIndex index_of(const Dwarf_Die& type);
  TypeIndex add(ValueType);
  void read(TypeIndex, Dwarf_Die);
  ValueType number(Dwarf_Die&) const;
  ValueType structure(Dwarf_Die&);
  std::optional<Member> member(Dwarf_Die&);
  ValueType array(Dwarf_Die&);
  void count(std::size_t more);

  std::vector<ValueType> types_;
  std::unordered_map<const void*, TypeIndex> known_;  // by where the entry lies
  std::deque<std::pair<TypeIndex, Dwarf_Die>> waiting_;
  std::size_t read_ = 0;  // types and members
};

}  // namespace stillrotor::io::mcu
