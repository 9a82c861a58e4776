// A YAML file as a tree in which every key and value knows where it was written.
// Bounded on purpose: 4 MiB of UTF-8, 32 levels, 100,000 values, 64 aliases, one document.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "emulator/bench/problems.hpp"

namespace stillrotor {

struct YamlKey {
  std::string text;
  Place place;
};

struct YamlNode {
  enum class Kind : unsigned char { nothing, scalar, map, sequence };
  Kind kind = Kind::nothing;
  std::string text;  // scalar
  Place place;
  std::vector<std::pair<YamlKey, YamlNode>> entries;  // map, in the file's order, keys unique
  std::vector<YamlNode> items;                        // sequence

  const YamlNode* find(std::string_view key) const noexcept;
};

/// Reads a file whose top is a map. `shown` is how messages call it. `asked_at` names the line that
/// asked for the file, for messages about the file as a whole; empty: the file's own name.
/// Throws InputError.
YamlNode read_yaml(const std::filesystem::path& file, const std::string& shown,
                   const Place& asked_at = {});

/// The same from text, for tests and fuzzing.
YamlNode parse_yaml(const std::string& text, const std::string& shown);

/// Replaces every `from: part.yaml` in the tree by the part's content; keys beside it override,
/// map by map. Paths count from the file that holds the `from`. Parts may use parts, 8 deep, 100
/// in all; a part that leads back to itself is a problem.
void resolve_parts(YamlNode& root, const std::filesystem::path& file, Problems&);

}  // namespace stillrotor
