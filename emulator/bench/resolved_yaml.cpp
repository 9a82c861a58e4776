#include "emulator/bench/resolved_yaml.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <vector>

namespace stillrotor {
namespace {

std::vector<std::string_view> split_path(std::string_view path) {
  std::vector<std::string_view> parts;
  for (std::size_t dot; (dot = path.find('.')) != std::string_view::npos;) {
    parts.push_back(path.substr(0, dot));
    path.remove_prefix(dot + 1);
  }
  parts.push_back(path);
  return parts;
}

/// The text that reads back to the draft's value: the user's own words where there are any, except
/// for paths, which become absolute.
std::string value_text(const Reading& row, Draft& draft) {
  const bool own_words =
      row.state != Reading::State::derived && !std::holds_alternative<Text>(row.parameter->binding);
  return own_words ? row.written : exact_value(*row.parameter, draft);
}

/// A tree of maps in order of first mention, so that each section stands in one place.
struct Branch {
  std::string_view key;
  std::string value;  // a leaf's
  std::vector<Branch> below;
};

Branch& child(Branch& parent, std::string_view key) {
  const auto found = std::find_if(parent.below.begin(), parent.below.end(),
                                  [&](const Branch& branch) { return branch.key == key; });
  if (found != parent.below.end()) return *found;
  parent.below.push_back({key, {}, {}});
  return parent.below.back();
}

void print(const Branch& branch, std::size_t indent, std::string& out) {
  for (const Branch& below : branch.below) {
    out += fmt::format("{:{}}{}:", "", indent, below.key);
    if (below.below.empty()) {
      out += fmt::format(" {}\n", yaml_scalar(below.value));
    } else {
      out += '\n';
      print(below, indent + 2, out);
    }
  }
}

}  // namespace

std::string yaml_scalar(std::string_view text) {
  const bool plain =
      !text.empty() && text.back() != ' ' &&
      (std::isalnum(static_cast<unsigned char>(text.front())) != 0 || text.front() == '/') &&
      std::all_of(text.begin(), text.end(), [](char c) {
        return std::isalnum(static_cast<unsigned char>(c)) != 0 ||
               std::string_view(" /._+-%^()").find(c) != std::string_view::npos;
      });
  if (plain) return std::string(text);
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') quoted += '\\';
    if (c == '\n')
      quoted += "\\n";
    else if (c == '\t')
      quoted += "\\t";
    else if (c == '\r')
      quoted += "\\r";
    else
      quoted += c;
  }
  return quoted + '"';
}

std::string resolved_bench_yaml(Readings& readings, Draft& draft) {
  Branch root;
  for (const Reading& row : readings.rows) {
    if (!row.applies || row.state == Reading::State::absent || row.state == Reading::State::shown)
      continue;
    Branch* at = &root;
    for (const std::string_view part : split_path(row.parameter->path)) at = &child(*at, part);
    at->value = value_text(row, draft);
  }
  std::string out = "# Resolved: every parameter of the bench, defaults included.\n";
  print(root, 0, out);
  return out;
}

}  // namespace stillrotor
