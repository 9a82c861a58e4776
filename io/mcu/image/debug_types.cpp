#include "io/mcu/image/debug_types.hpp"

#include <algorithm>
#include <stdexcept>

namespace stillrotor::io::mcu {
namespace {

constexpr std::size_t most_types = 500'000;  // with their members
constexpr int longest_chain = 64;            // of names and qualifiers around a type

bool is_wrapping(int tag) {
  switch (tag) {
    case DW_TAG_typedef:
    case DW_TAG_const_type:
    case DW_TAG_volatile_type:
    case DW_TAG_restrict_type:
    case DW_TAG_atomic_type:
    case DW_TAG_packed_type:
    case DW_TAG_immutable_type:
      return true;
    default:
      return false;
  }
}

/// nullopt: no number of that size is known.
std::optional<VariableType> integer(std::uint64_t bytes, bool is_signed) {
  switch (bytes) {
    case 1:
      return is_signed ? VariableType::int8 : VariableType::uint8;
    case 2:
      return is_signed ? VariableType::int16 : VariableType::uint16;
    case 3:  // of avr-gcc
    case 4:
      return is_signed ? VariableType::int32 : VariableType::uint32;
    case 8:
      return is_signed ? VariableType::int64 : VariableType::uint64;
    default:
      return std::nullopt;
  }
}

std::optional<VariableType> base(std::uint64_t encoding, std::uint64_t bytes) {
  switch (encoding) {
    case DW_ATE_signed:
    case DW_ATE_signed_char:
      return integer(bytes, true);
    case DW_ATE_unsigned:
    case DW_ATE_unsigned_char:
    case DW_ATE_boolean:
    case DW_ATE_UTF:
      return integer(bytes, false);
    case DW_ATE_float:
      if (bytes == 4) return VariableType::float32;
      if (bytes == 8) return VariableType::float64;
      return std::nullopt;
    default:
      return std::nullopt;
  }
}

/// Compilers write a negative constant as a signed one, and no other.
bool has_negative(Dwarf_Die& enumeration) {
  bool found = false;
  for_each_child(enumeration, [&](Dwarf_Die& one) {
    auto value = own_attribute(one, DW_AT_const_value);
    Dwarf_Sword number = 0;
    if (value && (value->form == DW_FORM_sdata || value->form == DW_FORM_implicit_const) &&
        dwarf_formsdata(&*value, &number) == 0 && number < 0)
      found = true;
  });
  return found;
}

/// A member's place in bytes: a constant, or as older compilers have it an addition to the
/// structure's address. nullopt: it depends on the object.
std::optional<std::uint64_t> place_of(Dwarf_Die& member) {
  auto place = attribute(member, DW_AT_data_member_location);
  if (!place) return 0;
  Dwarf_Word offset = 0;
  if (dwarf_formudata(&*place, &offset) == 0) return offset;
  Dwarf_Op* steps = nullptr;
  std::size_t count = 0;
  if (dwarf_getlocation(&*place, &steps, &count) != 0 || count != 1 ||
      steps[0].atom != DW_OP_plus_uconst)
    return std::nullopt;
  return steps[0].number;
}

/// Of a bit field from the structure's begin on. DWARF 2 counts from the most significant end of a
/// unit of byte_size.
std::optional<std::uint64_t> first_bit(Dwarf_Die& member, std::uint64_t offset, std::uint64_t bits,
                                       std::optional<std::uint64_t> type_bytes) {
  constexpr std::uint64_t largest = std::uint64_t{1} << 32;
  if (const auto bit = whole(member, DW_AT_data_bit_offset)) return 8 * offset + *bit;
  auto from_top = attribute(member, DW_AT_bit_offset);
  if (!from_top) return 8 * offset;
  const auto unit = whole(member, DW_AT_byte_size);
  const std::uint64_t unit_bytes = unit ? *unit : type_bytes.value_or(0);
  Dwarf_Sword top = 0;
  if (dwarf_formsdata(&*from_top, &top) != 0 || unit_bytes > 8 || offset > largest || top > 64 ||
      top < -64)
    return std::nullopt;
  const auto bit = static_cast<std::int64_t>(8 * offset + 8 * unit_bytes - bits) - top;
  return bit < 0 ? std::nullopt : std::optional<std::uint64_t>(bit);
}

std::string named(const char* kind, Dwarf_Die& type) {
  const std::string name = text(type, DW_AT_name);
  return name.empty() ? std::string("an unnamed ") + kind : std::string(kind) + " " + name;
}

}  // namespace

std::optional<TypeIndex> DebugTypes::of(Dwarf_Die& entry) {
  const auto type = followed(attribute(entry, DW_AT_type));
  return type ? std::optional(index_of(*type)) : std::nullopt;
}

TypeIndex DebugTypes::index_of(const Dwarf_Die& type) {
  const auto [known, is_new] = known_.try_emplace(type.addr, static_cast<TypeIndex>(types_.size()));
  if (is_new) {
    waiting_.emplace_back(known->second, type);
    add({});
  }
  return known->second;
}

TypeIndex DebugTypes::add(ValueType type) {
  count(1);
  types_.push_back(std::move(type));
  return static_cast<TypeIndex>(types_.size() - 1);
}

void DebugTypes::count(std::size_t more) {
  read_ += more;
  if (read_ > most_types) throw std::runtime_error("more types and members than any firmware has");
}

std::vector<ValueType> DebugTypes::read() {
  for (; !waiting_.empty(); waiting_.pop_front())
    read(waiting_.front().first, waiting_.front().second);
  return std::move(types_);
}

void DebugTypes::read(TypeIndex index, Dwarf_Die type) {
  std::string alias;
  int tag = dwarf_tag(&type);
  for (int links = 0; is_wrapping(tag); ++links) {
    if (alias.empty() && tag == DW_TAG_typedef) alias = text(type, DW_AT_name);
    const auto next = followed(own_attribute(type, DW_AT_type));
    if (!next || links == longest_chain) {
      types_[index].name = alias.empty() ? "of no type" : alias;
      return;
    }
    type = *next;
    tag = dwarf_tag(&type);
  }
  ValueType found;
  switch (tag) {
    case DW_TAG_base_type:
    case DW_TAG_enumeration_type:
      found = number(type);
      break;
    case DW_TAG_structure_type:
    case DW_TAG_class_type:
    case DW_TAG_union_type:
      found = structure(type);
      break;
    case DW_TAG_array_type:
      found = array(type);
      break;
    case DW_TAG_pointer_type:
    case DW_TAG_reference_type:
    case DW_TAG_rvalue_reference_type:
      found.name = "a pointer";
      break;
    default:
      found.name = "of a type that is no number";
  }
  const bool may_rename =
      found.kind == ValueType::Kind::number || found.kind == ValueType::Kind::structure;
  if (may_rename && !alias.empty()) found.name = alias;
  types_[index] = std::move(found);
}

ValueType DebugTypes::number(Dwarf_Die& type) const {
  const bool enumeration = dwarf_tag(&type) == DW_TAG_enumeration_type;
  const std::uint64_t bytes = whole(type, DW_AT_byte_size).value_or(0);
  ValueType found;
  found.name = enumeration ? named("enum", type) : text(type, DW_AT_name);
  found.bytes = bytes;
  const auto number = enumeration ? integer(bytes, has_negative(type))
                                  : base(whole(type, DW_AT_encoding).value_or(0), bytes);
  if (!number) return found;
  found.kind = ValueType::Kind::number;
  found.number = *number;
  return found;
}

ValueType DebugTypes::structure(Dwarf_Die& type) {
  ValueType found;
  found.name = named(dwarf_tag(&type) == DW_TAG_union_type ? "union" : "struct", type);
  const auto bytes = whole(type, DW_AT_byte_size);
  if (is_declaration(type) || !bytes) return found;
  found.kind = ValueType::Kind::structure;
  found.bytes = *bytes;
  for_each_child(type, [&](Dwarf_Die& child) {
    const int tag = dwarf_tag(&child);
    if ((tag != DW_TAG_member && tag != DW_TAG_inheritance) || is_declaration(child)) return;
    if (auto one = member(child)) {
      count(1);
      found.members.push_back(std::move(*one));
    }
  });
  return found;
}

std::optional<Member> DebugTypes::member(Dwarf_Die& entry) {
  const auto type = of(entry);
  const auto place = place_of(entry);
  if (!type || !place) return std::nullopt;
  Member found;
  if (dwarf_tag(&entry) == DW_TAG_member) found.name = text(entry, DW_AT_name);
  found.type = *type;
  found.offset = *place;
  const auto bits = whole(entry, DW_AT_bit_size);
  if (!bits) return found;
  auto unit = followed(attribute(entry, DW_AT_type));
  for (int links = 0; unit && is_wrapping(dwarf_tag(&*unit)) && links < longest_chain; ++links)
    unit = followed(own_attribute(*unit, DW_AT_type));
  const auto bit =
      first_bit(entry, *place, *bits, unit ? whole(*unit, DW_AT_byte_size) : std::nullopt);
  // An unnamed field is a gap.
  if (found.name.empty() || !bit || *bits == 0 || *bit % 8 + *bits > 64) return std::nullopt;
  found.offset = *bit / 8;
  found.bit = static_cast<std::uint8_t>(*bit % 8);
  found.bits = static_cast<std::uint8_t>(*bits);
  return found;
}

/// One of several dimensions is an array of arrays.
ValueType DebugTypes::array(Dwarf_Die& type) {
  const auto element = of(type);
  std::vector<std::uint64_t> counts;
  for_each_child(type, [&](Dwarf_Die& child) {
    const auto last = whole(child, DW_AT_upper_bound), count = whole(child, DW_AT_count);
    constexpr std::uint64_t all = 0xffffffff;  // an upper bound of -1, as of [0]
    counts.push_back(count ? *count : last && *last < all ? *last + 1 : 0);
  });
  ValueType found;
  if (!element || counts.empty() || counts.size() > longest_chain ||
      attribute(type, DW_AT_byte_stride) || attribute(type, DW_AT_bit_stride)) {
    found.name = "an array of a kind that is not known";
    return found;
  }
  found.kind = ValueType::Kind::array;
  found.element = *element;
  for (std::size_t k = counts.size() - 1; k > 0; --k) {
    found.count = counts[k];
    found.element = add(found);
  }
  found.count = counts.front();
  return found;
}

}  // namespace stillrotor::io::mcu
