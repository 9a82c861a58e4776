// An entry of the debug information, read with distrust: what is missing or of another form is
// nothing. A thin layer over libdw.
#pragma once

#include <dwarf.h>
#include <elfutils/libdw.h>

#include <cstdint>
#include <optional>
#include <string>

namespace stillrotor::io::mcu {

/// The entry's own attribute.
inline std::optional<Dwarf_Attribute> own_attribute(Dwarf_Die& entry, unsigned name) {
  Dwarf_Attribute found;
  if (dwarf_attr(&entry, name, &found) == nullptr) return std::nullopt;
  return found;
}
/// Its own, or that of the entry which it completes.
inline std::optional<Dwarf_Attribute> attribute(Dwarf_Die& entry, unsigned name) {
  Dwarf_Attribute found;
  if (dwarf_attr_integrate(&entry, name, &found) == nullptr) return std::nullopt;
  return found;
}
inline std::optional<Dwarf_Die> followed(std::optional<Dwarf_Attribute> reference) {
  Dwarf_Die found;
  if (!reference || dwarf_formref_die(&*reference, &found) == nullptr) return std::nullopt;
  return found;
}
inline std::optional<std::uint64_t> whole(Dwarf_Die& entry, unsigned name) {
  auto found = attribute(entry, name);
  Dwarf_Word value = 0;
  if (!found || dwarf_formudata(&*found, &value) != 0) return std::nullopt;
  return value;
}
inline std::string text(Dwarf_Die& entry, unsigned name) {
  auto found = attribute(entry, name);
  const char* const words = found ? dwarf_formstring(&*found) : nullptr;
  return words == nullptr ? std::string() : std::string(words);
}
inline bool is_declaration(Dwarf_Die& entry) {
  auto found = own_attribute(entry, DW_AT_declaration);
  bool value = false;
  return found && dwarf_formflag(&*found, &value) == 0 && value;
}

/// Calls `look` with each child. Throws std::runtime_error: the entries cannot be followed.
template <class Look>
void for_each_child(Dwarf_Die& parent, const Look& look);

/// What libdw says of the last failure, as an exception.
[[noreturn]] void throw_damaged();

template <class Look>
void for_each_child(Dwarf_Die& parent, const Look& look) {
  Dwarf_Die child;
  int answer = dwarf_child(&parent, &child);
  for (; answer == 0; answer = dwarf_siblingof(&child, &child)) look(child);
  if (answer < 0) throw_damaged();
}

}  // namespace stillrotor::io::mcu
