#include "emulator/cli/scenario_schema.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::ordered_json;
using Form = ScenarioKey::Form;

Json reference(std::string_view map) { return {{"$ref", fmt::format("#/$defs/{}", map)}}; }

/// What stands for a parameter fits everywhere.
Json or_parameter(Json form) {
  return {{"anyOf", {std::move(form), {{"type", "string"}, {"pattern", "\\$\\{[a-z0-9_]+\\}"}}}}};
}

Json quantity(const ScenarioKey& row) {
  // 0.06, 6 % and 1/20 are ratios; everything else has its unit behind it.
  if (row.family == Family::ratio)
    return or_parameter({{"type", {"string", "number"}},
                         {"pattern", "^[-+]?[0-9.]+([eE][-+]?[0-9]+)? *(%|V|/ *[0-9.]+)?$"}});
  return or_parameter(
      {{"type", "string"}, {"pattern", "^[-+]?[0-9.]+([eE][-+]?[0-9]+)? *[^0-9. ].*$"}});
}

Json form_of(const ScenarioKey& row) {
  switch (row.form) {
    case Form::text:
      return {{"type", {"string", "number", "boolean"}}};
    case Form::quantity: {
      Json form = quantity(row);
      if (row.shaped) form["anyOf"].push_back(reference("shape"));
      return form;
    }
    case Form::on_off:  // readers of YAML 1.1 take the words for booleans
      return or_parameter({{"enum", {"on", "off", "true", "false", true, false}}});
    case Form::word:
      return or_parameter({{"enum", row.words}});
    case Form::map:
      return reference(row.of);
    case Form::list:
      return {{"type", "array"}, {"items", reference(row.of)}};
    case Form::includes:
      return {{"type", "array"}, {"items", {{"anyOf", {{{"type", "string"}}, reference(row.of)}}}}};
  }
  return {};
}

void add_key(Json& map, const ScenarioKey& row) {
  Json form = form_of(row);
  std::string text = row.text;
  if (!row.allowed.empty()) text += fmt::format("; allowed {}", row.allowed);
  form["description"] = text;
  map["properties"][row.key] = std::move(form);
  if (row.required) map["required"].push_back(row.key);
}

/// A time or a condition, and one thing to do.
void add_rules_of_actions(Json& action) {
  Json one_of = Json::array();
  const auto requires_key = [](std::string_view key) { return Json{{"required", {key}}}; };
  for (const ActionWord& word : action_words()) one_of.push_back(requires_key(word.name));
  one_of.push_back(requires_key("fault"));
  one_of.push_back(requires_key("clear"));
  const Json moments = Json::array({requires_key("at"), requires_key("when")});
  action["allOf"] = Json::array({Json{{"oneOf", moments}}, Json{{"oneOf", one_of}}});
  action["dependentRequired"] = {{"after", {"when"}}, {"by", {"when"}}};
}

}  // namespace

std::string scenario_schema() {
  Json maps;
  for (const ScenarioKey& row : scenario_keys()) {
    Json& map = maps[row.map];
    if (map.is_null()) map = {{"type", "object"}, {"additionalProperties", false}};
    add_key(map, row);
  }
  add_rules_of_actions(maps["action"]);
  maps["shape"]["minProperties"] = maps["shape"]["maxProperties"] = 1;
  maps["limit"]["anyOf"] = {{{"required", {"min"}}}, {{"required", {"max"}}}};
  maps["parameters"] = {{"type", "object"},
                        {"propertyNames", {{"pattern", "^[a-z0-9_]{1,60}$"}}},
                        {"additionalProperties", reference("parameter")}};
  Json schema{{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", "A scenario"}};
  schema.update(maps["scenario"]);
  maps.erase("scenario");
  schema["$defs"] = std::move(maps);
  return schema.dump(2) + "\n";
}

}  // namespace stillrotor
