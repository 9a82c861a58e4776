// Every key that a scenario file can have, in one table: readers take from it what they allow,
// `list scenario-keys` prints it, the JSON Schema is made from it.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/units.hpp"

namespace stillrotor {

struct ScenarioKey {
  enum class Form : unsigned char {
    text,
    quantity,  // of its family
    on_off,
    word,     // one of `words`
    map,      // with the keys of `of`
    list,     // of maps with the keys of `of`
    includes  // a list of paths, or of maps with the keys of `of`
  };
  std::string map;  // "scenario", "start", "action", ...
  std::string key;
  Form form = Form::text;
  Family family = Family::ratio;
  std::string of;
  std::vector<std::string> words;
  bool shaped = false;  // a quantity that may also be a map with the keys of "shape"
  bool required = false;
  std::string allowed, text;
};

/// In the order in which resolved files write them. Actions, faults and their options come from
/// their own tables.
std::span<const ScenarioKey> scenario_keys();

/// Those of one map.
const std::vector<std::string>& keys_of(std::string_view map);

}  // namespace stillrotor
