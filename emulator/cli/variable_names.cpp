#include "emulator/cli/variable_names.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace stillrotor {
namespace {

using io::mcu::Variable;
using io::mcu::Variables;

/// At the last colon that stands alone: C++ has them in pairs.
std::size_t last_qualifier_end(std::string_view path) {
  for (std::size_t k = path.size(); k-- > 0;) {
    if (path[k] != ':') continue;
    const bool pair = (k > 0 && path[k - 1] == ':') || (k + 1 < path.size() && path[k + 1] == ':');
    if (!pair) return k + 1;
  }
  return 0;
}

bool is_file(std::string_view said, std::string_view file) {
  if (!file.ends_with(said)) return false;
  return said.size() == file.size() || file[file.size() - said.size() - 1] == '/';
}

/// "foc.c:update:": each part names the file or the function.
bool stands_in(std::string_view qualifiers, const Variable& v) {
  while (!qualifiers.empty()) {
    const std::size_t end = last_qualifier_end(qualifiers.substr(0, qualifiers.size() - 1));
    const std::string_view said = qualifiers.substr(end, qualifiers.size() - 1 - end);
    if (said.empty() || (!is_file(said, v.file) && said != v.function)) return false;
    qualifiers = qualifiers.substr(0, end);
  }
  return true;
}

/// How many letters of the path that name takes; 0: it is another one.
std::size_t taken(std::string_view path, std::string_view name) {
  if (name.empty() || !path.starts_with(name)) return 0;
  const bool ends = path.size() == name.size() || path[name.size()] == '.' ||
                    path[name.size()] == '[' || path[name.size()] == '-';
  return ends ? name.size() : 0;
}

}  // namespace

NamedVariables named(std::string_view path, const Variables& variables) {
  const std::size_t begin = last_qualifier_end(path);
  const std::string_view qualifiers = path.substr(0, begin), body = path.substr(begin);
  std::size_t most = 0;
  NamedVariables result;
  for (const Variable& v : variables.all) {
    const std::size_t length = std::max(taken(body, v.symbol), taken(body, v.name));
    if (length == 0 || length < most || !stands_in(qualifiers, v)) continue;
    if (length > most) result.found.clear();
    most = length;
    const auto same = [&](const Variable* other) { return other->address == v.address; };
    if (std::none_of(result.found.begin(), result.found.end(), same)) result.found.push_back(&v);
  }
  // As in the language: a function's own is not seen from outside of it.
  const auto of_function = [](const Variable* v) { return !v->function.empty(); };
  const bool asked = std::any_of(result.found.begin(), result.found.end(), [&](const Variable* v) {
    return of_function(v) && qualifiers.find(v->function + ":") != std::string_view::npos;
  });
  if (!asked && !std::all_of(result.found.begin(), result.found.end(), of_function))
    std::erase_if(result.found, of_function);
  if (most == 0) most = body.find_first_of(".[-");
  result.name = path.substr(0, most == std::string_view::npos ? path.size() : begin + most);
  result.rest = path.substr(result.name.size());
  return result;
}

std::string shortest_name(const Variable& v, const Variables& variables) {
  std::vector<std::string> tries{v.name};
  if (!v.function.empty()) tries.push_back(fmt::format("{}:{}", v.function, v.name));
  const std::string in_function = v.function.empty() ? "" : v.function + ":";
  for (const std::string& file : {v.file.substr(v.file.rfind('/') + 1), v.file})
    if (!file.empty()) tries.push_back(fmt::format("{}:{}{}", file, in_function, v.name));
  for (const std::string& name : tries) {
    const NamedVariables means = named(name, variables);
    if (means.rest.empty() && means.found.size() == 1 && means.found[0]->address == v.address)
      return name;
  }
  return v.symbol.empty() ? v.name : v.symbol;
}

}  // namespace stillrotor
