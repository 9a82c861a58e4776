// The keys of one map of a scenario file: checked against the allowed ones, read as scalars.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "emulator/bench/problems.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/bench/yaml_tree.hpp"

namespace stillrotor {

class Fields {
 public:
  /// `what` names the map in messages: "the scenario", "an action".
  Fields(const YamlNode& map, std::string what, std::span<const std::string> allowed, Problems&);

  const Place& place() const noexcept { return map_.place; }
  bool has(std::string_view key) const noexcept { return map_.find(key) != nullptr; }
  /// The scalar's text; empty and a problem when it is no scalar; empty when absent.
  std::string text(std::string_view key) const;
  Place place_of(std::string_view key) const;
  const YamlNode* node(std::string_view key) const noexcept { return map_.find(key); }

  // Nothing and a problem when wrong; nothing when absent.
  std::optional<double> quantity(std::string_view key, Family, double least, double most,
                                 std::string_view allowed) const;
  std::optional<std::int64_t> time_ps(std::string_view key, double least_s, double most_s,
                                      std::string_view allowed) const;
  std::optional<bool> on_off(std::string_view key) const;
  std::optional<std::size_t> choice(std::string_view key, std::span<const std::string> words) const;

  void wrong(std::string_view key, std::string_view sentence) const;

 private:
  const YamlNode& map_;
  std::string what_;
  Problems& problems_;
};

std::int64_t to_ps(double seconds) noexcept;

}  // namespace stillrotor
