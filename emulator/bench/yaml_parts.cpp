#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "emulator/bench/yaml_tree.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t deepest_chain = 8;
constexpr int most_parts = 100;

class PartResolver {
 public:
  explicit PartResolver(Problems& problems) : problems_(problems) {}

  void resolve(YamlNode& node, const std::filesystem::path& file) {
    chain_.push_back(std::filesystem::weakly_canonical(file));
    descend(node, file);
    chain_.pop_back();
  }

 private:
  void descend(YamlNode& node, const std::filesystem::path& file) {
    for (auto& [key, value] : node.entries)
      if (key.text != "from") descend(value, file);
    const auto from = std::find_if(node.entries.begin(), node.entries.end(),
                                   [](const auto& entry) { return entry.first.text == "from"; });
    if (from == node.entries.end()) return;
    const YamlNode named = std::move(from->second);
    node.entries.erase(from);
    if (named.kind != YamlNode::Kind::scalar || named.text.empty()) {
      problems_.add(named.place, "from needs the path of a part file, relative to this file.");
      return;
    }
    if (auto part = load(named, file)) merge_below(node, std::move(*part));
  }

  std::optional<YamlNode> load(const YamlNode& named, const std::filesystem::path& file) {
    const std::filesystem::path path = (file.parent_path() / named.text).lexically_normal();
    const auto canonical = std::filesystem::weakly_canonical(path);
    if (std::find(chain_.begin(), chain_.end(), canonical) != chain_.end()) {
      problems_.add(named.place, fmt::format("from: {} leads back to itself. Remove one of the "
                                             "`from` lines.",
                                             named.text));
      return {};
    }
    if (chain_.size() > deepest_chain || ++parts_ > most_parts) {
      problems_.add(named.place,
                    fmt::format("too many part files; allowed {} one inside the other, {} in all.",
                                deepest_chain, most_parts));
      return {};
    }
    try {
      YamlNode part = read_yaml(path, path.string(), named.place);
      resolve(part, path);
      return part;
    } catch (const InputError& error) {
      problems_.add_all(error);
      return {};
    }
  }

  /// What `above` does not say comes from `part`.
  static void merge_below(YamlNode& above, YamlNode part) {
    for (auto& [key, value] : part.entries) {
      const auto same =
          std::find_if(above.entries.begin(), above.entries.end(),
                       [&](const auto& entry) { return entry.first.text == key.text; });
      if (same == above.entries.end())
        above.entries.emplace_back(std::move(key), std::move(value));
      else if (same->second.kind == YamlNode::Kind::map && value.kind == YamlNode::Kind::map)
        merge_below(same->second, std::move(value));
    }
  }

  Problems& problems_;
  std::vector<std::filesystem::path> chain_;
  int parts_ = 0;
};

}  // namespace

void resolve_parts(YamlNode& root, const std::filesystem::path& file, Problems& problems) {
  PartResolver(problems).resolve(root, file);
}

}  // namespace stillrotor
