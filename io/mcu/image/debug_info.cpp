#include "io/mcu/image/debug_info.hpp"

#include <libelf.h>

#include <memory>
#include <set>
#include <stdexcept>
#include <tuple>

#include "io/mcu/image/debug_types.hpp"

namespace stillrotor::io::mcu {

void throw_damaged() {
  const char* const why = dwarf_errmsg(-1);
  throw std::runtime_error(why != nullptr ? why : "its entries cannot be followed");
}

namespace {

constexpr std::size_t most_entries = 8'000'000;
constexpr int deepest = 64;  // blocks in functions in namespaces

/// The address that a location states outright.
std::optional<std::uint64_t> fixed_address(Dwarf_Die& entry) {
  auto location = own_attribute(entry, DW_AT_location);
  Dwarf_Op* steps = nullptr;
  std::size_t count = 0;
  if (!location || dwarf_getlocation(&*location, &steps, &count) != 0 || count != 1)
    return std::nullopt;
  if (steps[0].atom == DW_OP_addr) return steps[0].number;
  Dwarf_Attribute listed;
  Dwarf_Addr address = 0;
  if (steps[0].atom == DW_OP_addrx && dwarf_getlocation_attr(&*location, &steps[0], &listed) == 0 &&
      dwarf_formaddr(&listed, &address) == 0)
    return address;
  return std::nullopt;
}

class Walk {
 public:
  Walk(Dwarf* file, const HoldsVariables& in_ram) : file_(file), in_ram_(in_ram) {}

  DebugInfo all() {
    Dwarf_CU* unit = nullptr;
    int answer = 0;
    for (;;) {
      Dwarf_Die entry;
      answer = dwarf_get_units(file_, unit, &unit, nullptr, nullptr, &entry, nullptr);
      if (answer != 0) break;
      inside(entry, {}, 0);
    }
    if (answer < 0) throw_damaged();
    DebugInfo info;
    for (Found& one : found_) {
      // A definition stands outside the namespace or class that declares it.
      if (const auto declared = declared_.find(one.declaration); declared != declared_.end())
        one.variable.name = declared->second;
      info.variables.push_back(std::move(one.variable));
    }
    info.types = types_.read();
    return info;
  }

 private:
  struct Scope {
    std::string path;  // "foc::"
    std::string function;
  };
  struct Found {
    Variable variable;
    const void* declaration;
  };

  void inside(Dwarf_Die& parent, const Scope& scope, int depth) {
    if (depth > deepest) throw std::runtime_error("its entries are nested too deep");
    for_each_child(parent, [&](Dwarf_Die& entry) {
      if (++entries_ > most_entries) throw std::runtime_error("it has more entries than are read");
      switch (dwarf_tag(&entry)) {
        case DW_TAG_variable:
        case DW_TAG_member:
          return variable(entry, scope);
        case DW_TAG_namespace:
        case DW_TAG_structure_type:
        case DW_TAG_class_type: {
          const std::string name = text(entry, DW_AT_name);
          return inside(entry, {scope.path + (name.empty() ? "" : name + "::"), scope.function},
                        depth + 1);
        }
        case DW_TAG_subprogram:
        case DW_TAG_inlined_subroutine:
          return inside(entry, {{}, text(entry, DW_AT_name)}, depth + 1);
        case DW_TAG_lexical_block:
          return inside(entry, scope, depth + 1);
        default:
          return;
      }
    });
  }

  void variable(Dwarf_Die& entry, const Scope& scope) {
    const auto address = fixed_address(entry);
    if (!address) {
      if (!scope.path.empty() && (dwarf_tag(&entry) == DW_TAG_variable || is_declaration(entry)))
        declared_.emplace(entry.addr, scope.path + text(entry, DW_AT_name));
      return;
    }
    auto name = attribute(entry, DW_AT_name);
    const char* const words = name ? dwarf_formstring(&*name) : nullptr;
    if (words == nullptr || !in_ram_(*address, 0)) return;
    Found found;
    found.variable.name = scope.path + words;
    found.variable.file = file_of(*name);
    found.variable.function = scope.function;
    found.variable.address = static_cast<std::uint32_t>(*address);
    const Variable& v = found.variable;
    if (!seen_.emplace(v.address, v.name, v.file, v.function).second) return;
    found.variable.type = types_.of(entry);
    found.declaration = completed(entry).addr;
    found_.push_back(std::move(found));
  }

  /// The source file whose compilation has that attribute: optimisation of whole programs moves
  /// entries into units of its own.
  static std::string file_of(const Dwarf_Attribute& name) {
    Dwarf_Die unit;
    if (dwarf_cu_die(name.cu, &unit, nullptr, nullptr, nullptr, nullptr, nullptr, nullptr) ==
        nullptr)
      return {};
    return text(unit, DW_AT_name);
  }

  static Dwarf_Die completed(Dwarf_Die entry) {
    for (int links = 0; links < deepest; ++links) {
      auto before = followed(own_attribute(entry, DW_AT_specification));
      if (!before) before = followed(own_attribute(entry, DW_AT_abstract_origin));
      if (!before) break;
      entry = *before;
    }
    return entry;
  }

  Dwarf* file_;
  const HoldsVariables& in_ram_;
  DebugTypes types_;
  std::vector<Found> found_;
  std::unordered_map<const void*, std::string> declared_;
  std::set<std::tuple<std::uint32_t, std::string, std::string, std::string>> seen_;
  std::size_t entries_ = 0;
};

}  // namespace

DebugInfo read_debug_info(std::string elf_file, const HoldsVariables& in_ram) {
  elf_version(EV_CURRENT);
  DebugInfo info;
  const std::unique_ptr<Elf, int (*)(Elf*)> elf(elf_memory(elf_file.data(), elf_file.size()),
                                                &elf_end);
  const std::unique_ptr<Dwarf, int (*)(Dwarf*)> dwarf(
      elf ? dwarf_begin_elf(elf.get(), DWARF_C_READ, nullptr) : nullptr, &dwarf_end);
  Dwarf_CU* first = nullptr;
  if (!dwarf ||
      dwarf_get_units(dwarf.get(), nullptr, &first, nullptr, nullptr, nullptr, nullptr) == 1) {
    info.problem = "has no debug information. Compile and link it with -g, and do not strip it";
    return info;
  }
  // No other file is opened, whatever this one names.
  dwarf_setalt(dwarf.get(), dwarf.get());
  try {
    return Walk(dwarf.get(), in_ram).all();
  } catch (const std::runtime_error& error) {
    info.problem = std::string("has debug information that cannot be read (") + error.what() +
                   "). It is damaged or of an unknown form: build the file again with -g";
    return info;
  }
}

}  // namespace stillrotor::io::mcu
