#include <fmt/format.h>

#include <charconv>
#include <numbers>

#include "emulator/bench/resolved_yaml.hpp"
#include "emulator/scenario/compose.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

void read_seed(const Fields& fields, Scenario& scenario) {
  const std::string text = fields.text("seed");
  if (text.empty()) return;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, scenario.seed);
  if (error != std::errc{} || rest != end)
    fields.wrong("seed", fmt::format("seed is {}; allowed 0 to 18446744073709551615. Write a whole "
                                     "number.",
                                     text));
  scenario.resolved.seed = text;
}

/// Of bodies that are warm at the start. Returns the map of the resolved file.
std::string read_temperatures(const YamlNode& node, const Bench& bench, Start& start,
                              Problems& problems) {
  const Fields fields(node, "start temperature", keys_of("start temperature"), problems);
  std::vector<WrittenPair> pairs;
  for (std::size_t k = 0; k < body_words.size(); ++k) {
    const std::string_view body = body_words[k];
    start.temperature_K[k] =
        fields.quantity(body, Family::temperature, 173.15, 573.15, "-100 degC to 300 degC");
    pairs.push_back({std::string(body), fields.text(body)});
  }
  if (fields.has("junction") && bench.drive.thermal.fitted)
    fields.wrong("junction",
                 "junction follows its heatsink where the bench has heat paths "
                 "(thermal). Warm the heatsink instead.");
  return flow_map(pairs);
}

void read_start(const YamlNode& node, const Bench& bench, Scenario& scenario, Problems& problems) {
  const Fields fields(node, "start", keys_of("start"), problems);
  constexpr double most_speed = 100'000.0 * 2.0 * std::numbers::pi / 60.0;
  constexpr double full_turn = 2.0 * std::numbers::pi;
  Start& start = scenario.start;
  start.speed_rad_s = fields
                          .quantity("speed", Family::rotational_speed, -most_speed, most_speed,
                                    "-100000 rpm to 100000 rpm")
                          .value_or(0.0);
  start.angle_rad = fields
                        .quantity("angle", Family::angle, -full_turn, full_turn,
                                  "-360 deg to 360 deg, mechanical")
                        .value_or(0.0);
  start.key = fields.on_off("key").value_or(false);
  start.charge = fields.quantity("state_of_charge", Family::ratio, 0.0, 1.0, "0 % to 100 %");
  if (fields.has("state_of_charge") && bench.drive.supply.battery.open_circuit_V.empty())
    fields.wrong("state_of_charge",
                 fmt::format("state_of_charge needs a battery that follows its charge; the supply "
                             "of the bench \"{}\" has no open_circuit. Give it one, or remove "
                             "state_of_charge.",
                             bench.name));
  start.bus_V = fields.quantity("bus_voltage", Family::voltage, 0.0, 2000.0, "0 V to 2000 V");
  std::string temperature;
  if (const YamlNode* warm = fields.node("temperature"))
    temperature = read_temperatures(*warm, bench, start, problems);
  const auto said = [&](const char* key, const char* preset) {
    return fields.has(key) ? fields.text(key) : std::string(preset);
  };
  scenario.resolved.start = flow_map({{"speed", said("speed", "0 rpm")},
                                      {"angle", said("angle", "0 deg")},
                                      {"key", said("key", "off")},
                                      {"state_of_charge", fields.text("state_of_charge")},
                                      {"bus_voltage", fields.text("bus_voltage")},
                                      {"temperature", temperature, true}});
}

}  // namespace

std::string ResolvedScenario::text() const {
  std::string out = fmt::format("scenario: {}\nlasts: {}\nseed: {}\nstart: {}\n", yaml_scalar(name),
                                yaml_scalar(lasts), yaml_scalar(seed), start);
  if (!parameters.empty()) out += "parameters:\n";
  for (const std::string& line : parameters) out += fmt::format("  {}\n", line);
  for (const auto& [key, lines] :
       {std::pair{"road", &road}, {"timeline", &timeline}, {"expect", &expect}}) {
    if (lines->empty() && lines == &road) continue;
    out += fmt::format("{}:{}\n", key, lines->empty() ? " []" : "");
    for (const std::string& line : *lines) out += fmt::format("  - {}\n", line);
  }
  return out;
}

std::string flow_map(const std::vector<WrittenPair>& pairs) {
  std::string out;
  for (const auto& [key, text, nested] : pairs)
    if (!text.empty())
      out +=
          fmt::format("{}{}: {}", out.empty() ? "" : ", ", key, nested ? text : yaml_scalar(text));
  return "{" + out + "}";
}

Scenario load_scenario(const std::filesystem::path& file, const Bench& bench,
                       std::span<const KnownMeasure> measures,
                       std::span<const std::string> settings) {
  ComposedScenario composed = compose_scenario(file, settings);
  const YamlNode& root = composed.root;
  Problems problems;
  const Fields fields(root, "a scenario", keys_of("scenario"), problems);
  Scenario scenario;
  ResolvedScenario& written = scenario.resolved;
  scenario.file = file;
  scenario.overrides = std::move(composed.overrides);
  written.parameters = std::move(composed.parameters);
  scenario.name = written.name = fields.text("scenario");
  written.lasts = fields.text("lasts");
  if (!fields.has("scenario"))
    problems.add(root.place, "scenario is missing; give it a name, for example scenario: A hill.");
  if (!fields.has("lasts"))
    problems.add(root.place, "lasts is missing; allowed 1 ms to 3600 s. Say how long it runs.");
  scenario.lasts_ps = fields.time_ps("lasts", 1e-3, 3600.0, "1 ms to 3600 s").value_or(to_ps(3600));
  read_seed(fields, scenario);
  if (const YamlNode* start = root.find("start")) {
    read_start(*start, bench, scenario, problems);
    if (scenario.start.speed_rad_s != 0.0 && bench.drive.shaft.hold == plant::Hold::locked)
      problems.add(
          start->place,
          fmt::format("start speed is {}; the bench \"{}\" locks its rotor, allowed 0 rpm. "
                      "Remove it, or change load.kind there.",
                      start->find("speed")->text, bench.name));
  }
  if (const YamlNode* timeline = root.find("timeline"))
    written.timeline = read_timeline(*timeline, bench, scenario, problems);
  if (const YamlNode* road = root.find("road"))
    written.road = read_road(*road, bench, scenario, problems);
  if (const YamlNode* expect = root.find("expect"))
    written.expect = read_limits(*expect, measures, scenario, problems);
  problems.throw_if_any();
  scenario.resolved_yaml =
      "# Resolved: everything the scenario says, defaults included.\n" + written.text();
  return scenario;
}

Scenario load_scenario(const std::filesystem::path& file, const Bench& bench) {
  return load_scenario(file, bench, {});
}

}  // namespace stillrotor
