#include "io/mcu/image/variables.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <fstream>
#include <iterator>
#include <map>
#include <set>
#include <string_view>
#include <utility>

#include "io/connector.hpp"
#include "io/mcu/image/debug_info.hpp"

namespace stillrotor::io::mcu {
namespace {

/// A symbol fits a variable by its name, with what the compiler puts behind names of statics.
bool fits(const Variable& v, std::string_view symbol) {
  return symbol.starts_with(v.name) &&
         (symbol.size() == v.name.size() || symbol[v.name.size()] == '.');
}

}  // namespace

Variables variables_of(std::string_view bytes, const ElfTarget& target, const std::string& name,
                       const HoldsVariables& in_ram) {
  const ElfFile file(bytes, target, name);
  DebugInfo info = read_debug_info(std::string(bytes), in_ram);
  Variables result;
  result.types = std::move(info.types);
  result.untyped = std::move(info.problem);

  std::multimap<std::uint32_t, Symbol> symbols;
  for (const Symbol& s : file.symbols())
    if (!s.is_function && in_ram(s.address, s.bytes)) symbols.emplace(s.address, s);
  std::set<std::pair<std::uint32_t, std::string_view>> described;
  std::map<std::uint32_t, TypeIndex> type_at;
  for (Variable& v : info.variables) {
    const auto [first, last] = symbols.equal_range(v.address);
    auto symbol = std::find_if(first, last, [&](const auto& s) { return fits(v, s.second.name); });
    if (symbol == last) symbol = first;
    if (symbol != last) {
      v.symbol = symbol->second.name;
      v.bytes = symbol->second.bytes;
      described.emplace(v.address, symbol->second.name);
    }
    if (v.type) {
      if (v.bytes == 0) v.bytes = static_cast<std::uint32_t>(result.types[*v.type].bytes);
      type_at.emplace(v.address, *v.type);
    }
  }
  result.all = std::move(info.variables);
  // What the debug information does not know, or has under one of its names only.
  for (const auto& [address, symbol] : symbols) {
    if (described.contains({address, symbol.name})) continue;
    const std::string said(symbol.name);
    const auto type = type_at.find(address);
    Variable plain{said, said, {}, {}, address, symbol.bytes, std::nullopt};
    if (type != type_at.end()) plain.type = type->second;
    result.all.push_back(std::move(plain));
  }
  std::erase_if(result.all, [&](const Variable& v) { return !in_ram(v.address, v.bytes); });
  std::stable_sort(result.all.begin(), result.all.end(),
                   [](const Variable& a, const Variable& b) { return a.address < b.address; });
  return result;
}

Variables read_variables(const std::filesystem::path& path, const ElfTarget& target,
                         const HoldsVariables& in_ram) {
  std::ifstream file(path, std::ios::binary);
  const std::string bytes{std::istreambuf_iterator<char>(file), {}};
  if (!starts_like_elf(bytes))
    throw ConfigError("controller.firmware",
                      fmt::format("{} names no variables: it is no ELF file. Give the file that "
                                  "the linker wrote (usually .elf).",
                                  path.string()));
  return variables_of(bytes, target, path.string(), in_ram);
}

}  // namespace stillrotor::io::mcu
