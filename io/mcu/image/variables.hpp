// The variables of a firmware's file: where they lie, and what they are made of.
//
// Names  by the symbol table; by the debug information (DWARF) also members, files and functions.
// Errors ConfigError ("controller.firmware"): as ElfFile. Debug information that cannot be read
//        leaves variables without a type, and the reason.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/image/elf_file.hpp"

namespace stillrotor::io::mcu {

enum class VariableType : std::uint8_t {
  int8,
  uint8,
  int16,
  uint16,
  int32,
  uint32,
  int64,
  uint64,
  float32,
  float64,
};
constexpr std::uint32_t bytes_of(VariableType type) noexcept {
  constexpr std::uint32_t bytes[] = {1, 1, 2, 2, 4, 4, 8, 8, 4, 8};
  return bytes[static_cast<std::size_t>(type)];
}

constexpr bool is_signed(VariableType type) noexcept {
  return type == VariableType::int8 || type == VariableType::int16 || type == VariableType::int32 ||
         type == VariableType::int64;
}

using TypeIndex = std::uint32_t;

struct Member {
  std::string name;          // empty: its members count as those of what it lies in
  std::uint64_t offset = 0;  // bytes
  std::uint8_t bit = 0;      // of the first byte, the least significant is 0
  std::uint8_t bits = 0;     // 0: whole bytes
  TypeIndex type = 0;
};

/// Of a variable, a member or an element. They may refer to each other in a ring in a damaged file.
struct ValueType {
  enum class Kind : std::uint8_t { other, number, structure, array };
  Kind kind = Kind::other;
  std::string name;         // "float", "uint16_t", "struct axes", "a pointer"; array: empty
  std::uint64_t bytes = 0;  // of a number or structure; of an integer of 3 bytes, 3
  VariableType number = VariableType::float32;
  std::vector<Member> members;
  std::uint64_t count = 0;  // of an array; 0: not told
  TypeIndex element = 0;
};

struct Variable {
  std::string name;            // in the source: foc::state
  std::string symbol;          // in the symbol table: count.0; empty: it is not there
  std::string file, function;  // of the source; empty: not known, in no function
  std::uint32_t address = 0, bytes = 0;
  std::optional<TypeIndex> type;
};

struct Variables {
  std::vector<Variable> all;  // by address
  std::vector<ValueType> types;
  std::string untyped;  // why there are no types: "has no debug information"; empty: there are
};

using HoldsVariables = std::function<bool(std::uint64_t address, std::uint64_t bytes)>;

/// Those that lie where `in_ram` says. name: the file's, for messages.
Variables variables_of(std::string_view bytes, const ElfTarget&, const std::string& name,
                       const HoldsVariables& in_ram);
/// Of a file on the disk.
Variables read_variables(const std::filesystem::path&, const ElfTarget&,
                         const HoldsVariables& in_ram);

}  // namespace stillrotor::io::mcu
