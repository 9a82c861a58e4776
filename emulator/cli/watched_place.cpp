#include "emulator/cli/watched_place.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <limits>
#include <optional>
#include <set>
#include <vector>

#include "emulator/bench/nearest.hpp"
#include "emulator/cli/variable_names.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

using io::mcu::Member;
using io::mcu::TypeIndex;
using io::mcu::ValueType;
using io::mcu::Variable;
using io::mcu::Variables;
using io::mcu::VariableType;
using Kind = ValueType::Kind;

constexpr int deepest = 16;                // arrays of arrays
constexpr std::size_t most_searched = 64;  // unnamed structures in one
constexpr std::size_t most_told = 20;

/// A part of a variable on the way to the number.
struct Spot {
  std::uint64_t offset = 0;
  unsigned bit = 0, bits = 0;
  std::optional<TypeIndex> type;
};

class Search {
 public:
  Search(const WatchEntry& entry, const Variables& variables)
      : entry_(entry), variables_(variables) {}

  WatchedNumber carry_out() {
    const NamedVariables named = stillrotor::named(entry_.path, variables_);
    if (named.found.size() != 1) refuse_name(named);
    const Variable& variable = *named.found.front();
    so_far_ = named.name;
    Spot spot{0, 0, 0, variable.type};
    for (std::string_view rest = named.rest; !rest.empty();) spot = step(spot, rest, variable);
    const ValueType found = number_at(spot, variable);
    WatchedNumber result{entry_, {}, describe_number(found, spot.bits)};
    result.place.type = found.number;
    result.place.bit = static_cast<std::uint8_t>(spot.bit);
    result.place.bits = static_cast<std::uint8_t>(spot.bits);
    if (spot.bits == 0 && found.bytes == 3) result.place.bits = 24;  // there is no such type here
    const std::uint64_t begin = spot.offset + entry_.offset.value_or(0);
    const std::uint64_t end = begin + result.place.bytes();
    if (end > variable.bytes || end < begin)
      refuse(fmt::format("{} has {} bytes, and these would end at byte {}.", named.name,
                         variable.bytes, end));
    result.place.address = variable.address + static_cast<std::uint32_t>(begin);
    return result;
  }

 private:
  [[noreturn]] void refuse(const std::string& why) const {
    throw io::ConfigError("controller.watch",
                          fmt::format("{} is \"{}\": {}", entry_.name, entry_.written, why));
  }

  [[noreturn]] void refuse_name(const NamedVariables& named) const {
    if (!named.found.empty() && !variables_.untyped.empty())
      refuse(
          fmt::format("the firmware has several variables {}. Rename one, or compile with -g and "
                      "write file.c:{}.",
                      named.name, named.name));
    if (!named.found.empty()) {
      std::string all;
      for (const Variable* v : named.found)
        all += (all.empty() ? "" : ", ") + shortest_name(*v, variables_);
      refuse(fmt::format("the firmware has several variables {}: {}. Name one of these.",
                         named.name, all));
    }
    std::vector<std::string> known;
    for (const Variable& v : variables_.all) {
      known.push_back(v.name);
      known.push_back(v.symbol);
    }
    const std::string near = nearest(named.name, known);
    refuse(fmt::format(
        "the firmware has no variable {} in RAM.{} Global and static variables that the compiler "
        "has kept can be watched; `stillrotor list variables BENCH` shows them.",
        named.name, near.empty() ? "" : fmt::format(" Did you mean {}?", near)));
  }

  /// One .member or [index] further; rest loses it.
  Spot step(const Spot& at, std::string_view& rest, const Variable& variable) {
    if (!at.type) refuse_untyped(variable, "Members and elements are known by it");
    const ValueType& type = variables_.types[*at.type];
    const std::string is = fmt::format("{} is {}", so_far_, describe(*at.type, variables_));
    if (rest.starts_with('[')) {
      const std::size_t end = rest.find(']');
      if (end == std::string_view::npos) refuse(fmt::format("a ] is missing in {}.", entry_.path));
      if (type.kind != Kind::array) refuse(fmt::format("{} and has no elements.", is));
      const Spot next = element(at, type, rest.substr(1, end - 1));
      pass(rest, end + 1);
      return next;
    }
    if (rest.starts_with('-')) refuse(fmt::format("{}; pointers are not followed.", is));
    if (!rest.starts_with('.'))
      refuse(fmt::format("behind {} a .member or an [index] is due.", so_far_));
    if (type.kind == Kind::array)
      refuse(fmt::format("{}; name an element: {}[0]{}.", is, so_far_, rest));
    if (type.kind != Kind::structure)
      refuse(fmt::format("{} and has no members{}.", is,
                         type.name == "a pointer" ? "; pointers are not followed" : ""));
    const std::string_view name = rest.substr(1, rest.find_first_of(".[-", 1) - 1);
    const auto next = member(*at.type, name);
    if (!next)
      refuse(fmt::format("{}, which has no member {}.{}", is, name,
                         suggestion(name, members_of(*at.type))));
    pass(rest, name.size() + 1);
    return {at.offset + next->offset, next->bit, next->bits, next->type};
  }

  void pass(std::string_view& rest, std::size_t letters) {
    so_far_ += rest.substr(0, letters);
    rest.remove_prefix(letters);
  }

  Spot element(const Spot& at, const ValueType& array, std::string_view written) const {
    std::uint64_t index = 0;
    const auto [end, error] =
        std::from_chars(written.data(), written.data() + written.size(), index);
    if (written.empty() || error != std::errc{} || end != written.data() + written.size())
      refuse(fmt::format("[{}] is no index; allowed a whole number from 0.", written));
    if (array.count == 0)
      refuse(fmt::format("how many elements {} has is not told. Write {}+BYTES TYPE.", so_far_,
                         so_far_));
    if (index >= array.count)
      refuse(fmt::format("{}[{}] is beyond its end; allowed {}[0] to {}[{}].", so_far_, index,
                         so_far_, so_far_, array.count - 1));
    const std::uint64_t bytes = bytes_of(array.element, variables_);
    if (bytes == 0 || index > std::numeric_limits<std::uint32_t>::max() / bytes)
      refuse(fmt::format("how big the elements of {} are is not told. Write {}+BYTES TYPE.",
                         so_far_, so_far_));
    return {at.offset + index * bytes, 0, 0, array.element};
  }

  /// A structure and the unnamed ones and base classes in it, each once: `look` gets a member and
  /// where what it lies in begins, and ends the search with true.
  template <class Look>
  bool search(TypeIndex structure, std::uint64_t offset, std::set<TypeIndex>& seen,
              const Look& look) const {
    if (!seen.insert(structure).second || seen.size() > most_searched) return false;
    const auto& members = variables_.types[structure].members;
    for (const Member& m : members)
      if (!m.name.empty() && look(m, offset)) return true;
    return std::any_of(members.begin(), members.end(), [&](const Member& m) {
      return m.name.empty() && search(m.type, offset + m.offset, seen, look);
    });
  }

  std::optional<Member> member(TypeIndex structure, std::string_view name) const {
    std::optional<Member> found;
    std::set<TypeIndex> seen;
    search(structure, 0, seen, [&](const Member& m, std::uint64_t offset) {
      if (m.name != name) return false;
      found = m;
      found->offset += offset;
      return true;
    });
    return found;
  }

  std::vector<std::string> members_of(TypeIndex structure) const {
    std::vector<std::string> names;
    std::set<TypeIndex> seen;
    search(structure, 0, seen, [&](const Member& m, std::uint64_t) {
      names.push_back(m.name);
      return names.size() == most_told;
    });
    return names;
  }

  /// By the debug information and by the bench: where both know it they must agree.
  ValueType number_at(const Spot& spot, const Variable& variable) const {
    ValueType told;
    if (entry_.type) {
      told.kind = Kind::number;
      told.number = *entry_.type;
      told.name = word_of(*entry_.type);
      told.bytes = io::mcu::bytes_of(*entry_.type);
    }
    if (entry_.offset) return told;  // bytes as they are
    if (!spot.type) {
      if (!entry_.type) refuse_untyped(variable, "Write it behind the variable (float)");
      return told;
    }
    const ValueType& known = variables_.types[*spot.type];
    if (known.kind == Kind::number) {
      if (entry_.type && (*entry_.type != known.number || spot.bits != 0 || known.bytes == 3))
        refuse(
            fmt::format("{} is {} by the firmware's debug information, and {} by the bench. "
                        "Leave the type out; {}+0 {} takes the bytes as they are.",
                        so_far_, describe_number(known, spot.bits), told.name, so_far_, told.name));
      return known;
    }
    const std::string is = fmt::format("{} is {}", so_far_, describe(*spot.type, variables_));
    const std::string also = entry_.type ? fmt::format(
                                               " by the firmware's debug information, and "
                                               "{} by the bench",
                                               told.name)
                                         : "";
    if (known.kind == Kind::structure) {
      const std::vector<std::string> names = members_of(*spot.type);
      refuse(fmt::format("{}{}. Name a member: {}.{}.", is, also, so_far_,
                         names.empty() ? "..." : fmt::format("{}", fmt::join(names, ", ."))));
    }
    if (known.kind == Kind::array)
      refuse(fmt::format("{}{}. Name an element: {}[0].", is, also, so_far_));
    if (!entry_.type)
      refuse(
          fmt::format("{}, which is no number to be recorded. A type behind it takes its bytes "
                      "as they are.",
                      is));
    return told;
  }

  [[noreturn]] void refuse_untyped(const Variable& variable, std::string_view then) const {
    refuse(fmt::format(
        "the type of {} is not known. {}. {}", variable.name, then,
        variables_.untyped.empty()
            ? "What defines it was compiled without DWARF: use -g (avr-gcc 5: -gdwarf-2)."
            : "The firmware " + variables_.untyped + "."));
  }

  const WatchEntry& entry_;
  const Variables& variables_;
  std::string so_far_;
};

}  // namespace

WatchedNumber watched_number(const WatchEntry& entry, const Variables& variables) {
  return Search(entry, variables).carry_out();
}

std::string describe(TypeIndex type, const Variables& variables) {
  std::string counts;
  const ValueType* at = &variables.types[type];
  for (int depth = 0; at->kind == Kind::array && depth < deepest; ++depth) {
    counts += at->count == 0 ? std::string("[]") : fmt::format("[{}]", at->count);
    at = &variables.types[at->element];
  }
  return at->name + counts;
}

std::uint64_t bytes_of(TypeIndex type, const Variables& variables) {
  std::uint64_t count = 1;
  const ValueType* at = &variables.types[type];
  for (int depth = 0; at->kind == Kind::array; ++depth) {
    if (depth == deepest || at->count > std::numeric_limits<std::uint32_t>::max()) return 0;
    count *= at->count;
    if (count > std::numeric_limits<std::uint32_t>::max()) return 0;
    at = &variables.types[at->element];
  }
  const bool known = at->bytes <= std::numeric_limits<std::uint32_t>::max();
  return known ? count * at->bytes : 0;
}

std::string describe_number(const ValueType& type, unsigned bits) {
  const std::string_view word = word_of(type.number);
  std::string words = type.name == word ? type.name : fmt::format("{} ({})", type.name, word);
  if (bits != 0) words += fmt::format(", {} bit{}", bits, bits == 1 ? "" : "s");
  return words;
}

}  // namespace stillrotor
