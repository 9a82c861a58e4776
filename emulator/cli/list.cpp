// stillrotor list: everything that bench and scenario files can say, from the tables themselves.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/input_error.hpp"
#include "emulator/bench/parameter_table.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/firmware_watch.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/scenario_schema.hpp"
#include "emulator/cli/table.hpp"
#include "emulator/cli/variable_list.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/judge/judge.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/vocabulary.hpp"
#include "io/backends.hpp"

namespace stillrotor {
namespace {

using Rows = std::vector<std::vector<std::string>>;

std::string default_of(const Parameter& parameter) {
  switch (parameter.need) {
    case Need::required:
      return "required";
    case Need::defaulted:
      return parameter.fallback;
    case Need::derived:
      return "follows: " + parameter.fallback;
    case Need::optional:
      break;
  }
  return "-";
}

/// Parameters whose path begins with one of these.
Rows parameters(const std::vector<std::string>& sections) {
  Rows rows{{"parameter", "default", "unit", "allowed", "what it is"}};
  for (const Parameter& parameter : parameter_table()) {
    if (std::none_of(sections.begin(), sections.end(), [&parameter](const std::string& under) {
          return parameter.path.starts_with(under);
        }))
      continue;
    const std::string roles =
        parameter.roles == role::any ? "" : fmt::format(" [{}]", role_names(parameter.roles));
    rows.push_back({parameter.path, default_of(parameter), unit_word(parameter), allowed(parameter),
                    parameter.text + roles});
  }
  return rows;
}

const char* needed_key(Asks asks) {
  switch (asks) {
    case Asks::event:
      return "after";
    case Asks::harmonic:
      return "harmonic";
    case Asks::pattern:
      return "pattern";
    case Asks::blinks:
    case Asks::nothing:
      break;
  }
  return "-";
}

Rows measures() {
  Rows rows{{"measure", "unit", "phase", "needs", "what it is", "source"}};
  for (const MeasureInfo& info : measure_table())
    rows.push_back({std::string(info.name), info.unit.empty() ? "-" : std::string(info.unit),
                    info.per_phase ? "U V W" : "-", needed_key(info.asks), std::string(info.text),
                    std::string(info.source)});
  return rows;
}

Rows actions() {
  Rows rows{{"action", "allowed", "ramps", "what it does"}};
  for (const ActionWord& word : action_words())
    rows.push_back({std::string(word.name), std::string(word.allowed),
                    word.form == ActionWord::Form::ramp ? "with over" : "-",
                    std::string(word.text)});
  rows.push_back({"fault", "see list faults", "-", "something breaks"});
  rows.push_back({"clear", "see list faults", "-", "it is whole again"});
  return rows;
}

Rows conditions() {
  Rows rows{{"when", "bound", "what is watched"}};
  for (const WatchedWord& word : watched_words())
    rows.push_back({std::string(word.name), std::string(word.allowed), std::string(word.text)});
  return rows;
}

Rows keys() {
  Rows rows{{"in", "key", "allowed", "what it is"}};
  for (const ScenarioKey& row : scenario_keys())
    rows.push_back({row.map, row.key + (row.required ? " (required)" : ""),
                    row.words.empty() ? row.allowed : fmt::format("{}", fmt::join(row.words, ", ")),
                    row.text});
  return rows;
}

std::string or_dash(std::string_view text) { return text.empty() ? "-" : std::string(text); }

Rows faults() {
  Rows rows{{"fault", "options", "needs", "what breaks"}};
  for (const Fault* fault : fault_catalogue()) {
    std::string options;
    for (const FaultOption& option : fault->options)
      options += fmt::format("{}{}: {}{}", options.empty() ? "" : "; ", option.name, option.allowed,
                             option.preset.empty() ? "" : fmt::format(" ({})", option.preset));
    rows.push_back({std::string(fault->name), or_dash(options), or_dash(fault->needs),
                    std::string(fault->text)});
  }
  return rows;
}

Rows backends() {
  Rows rows{{"backend", "clock", "in this build", "what stands at the connector"}};
  for (const io::Backend& backend : io::backends())
    rows.push_back({std::string(backend.name), std::string(backend.clock),
                    backend.available ? "yes" : "no", std::string(backend.summary)});
  return rows;
}

Rows signals() {
  Rows rows{{"signal", "unit", "recorded as", "what it is"}};
  for (const SignalInfo& info : signal_table)
    rows.push_back({std::string(info.name), std::string(info.unit),
                    info.spread ? "grid, least and greatest" : "grid", std::string(info.text)});
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const auto line = static_cast<io::LineId>(k);
    rows.push_back({std::string(io::name(line)), "0, 1", "edges",
                    io::is_gate(line)           ? "1: switch commanded on"
                    : io::from_controller(line) ? "as the controller drives it"
                                                : "as the controller reads it"});
  }
  return rows;
}

std::string first_comment(const std::filesystem::path& file) {
  std::ifstream stream(file);
  std::string line;
  if (!std::getline(stream, line) || !line.starts_with("# ")) return "";
  return line.substr(2);
}

/// Files of one kind below ./configs, with their first comment line.
Rows files(const std::string& kind) {
  Rows rows{{fmt::format("configs/{}", kind), "what it is"}};
  const std::filesystem::path folder = std::filesystem::path("configs") / kind;
  std::error_code none;
  for (const auto& entry : std::filesystem::directory_iterator(folder, none))
    if (entry.path().extension() == ".yaml")
      rows.push_back({entry.path().string(), first_comment(entry.path())});
  std::sort(rows.begin() + 1, rows.end());
  return rows;
}

Rows files_and_parameters(const std::string& kind, const std::vector<std::string>& sections) {
  Rows rows = files(kind);
  if (rows.size() > 1) fmt::print("{}\n", table(rows, 0));
  return parameters(sections);
}

using Lister = Rows (*)();
const std::map<std::string, Lister>& listers() {
  static const std::map<std::string, Lister> all{
      {"parameters", [] { return parameters({""}); }},
      {"measures", measures},
      {"actions", actions},
      {"conditions", conditions},
      {"faults", faults},
      {"backends", backends},
      {"signals", signals},
      {"scenario-keys", keys},
      {"benches", [] { return files("benches"); }},
      {"scenarios", [] { return files("scenarios"); }},
      {"machines",
       [] {
         return files_and_parameters("machines", {"machine.", "thermal."});
       }},
      {"bridges", [] { return parameters({"bridge."}); }},
      {"supplies",
       [] {
         return files_and_parameters("supplies", {"supply.", "dc_link.", "contactor.", "chopper."});
       }},
      {"loads", [] { return files_and_parameters("loads", {"load."}); }},
      {"sensors",
       [] {
         return files_and_parameters("sensors", {"sensors.", "controls."});
       }},
  };
  return all;
}

/// Not a table: a JSON Schema.
constexpr const char* schema = "scenario-schema";
/// Of a bench's firmware.
constexpr const char* variables = "variables";

struct Request {
  std::string what, bench;
  std::vector<std::string> overrides;
};

int list_variables(const Request& request) {
  std::optional<Bench> bench;
  try {
    if (request.bench.empty())
      throw InputError("list variables needs a bench, whose firmware it shows. Name its file.");
    bench = load_bench(request.bench, request.overrides, build_folder());
    const auto controller = io::make_controller(bench->controller);
    const io::mcu::Variables found = watchable(*bench, controller.get()).variables();
    fmt::print("{}", table(variable_rows(found), 0));
    if (!found.untyped.empty())
      fmt::print("\nTypes and members are not known: the firmware {}.\n", found.untyped);
    return 0;
  } catch (const std::exception& error) {
    return report(error, bench ? &*bench : nullptr);
  }
}

int list(const Request& request) {
  if (request.what == variables) return list_variables(request);
  if (!request.bench.empty())
    return report(InputError(
        fmt::format("list {} takes no bench; allowed with list variables.", request.what)));
  fmt::print("{}",
             request.what == schema ? scenario_schema() : table(listers().at(request.what)(), 0));
  return 0;
}

}  // namespace

void add_list(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command =
      program.add("list", "Show what there is: parameters, measures, faults, files, ...");
  std::vector<std::string> words;
  for (const auto& [word, lister] : listers()) words.push_back(word);
  words.emplace_back(schema);
  words.emplace_back(variables);
  command.option("WHAT", request->what, "what to list").required().one_of(words);
  command.option("BENCH", request->bench,
                 "with variables: the bench (YAML) whose firmware to list");
  command
      .option("--set", request->overrides,
              "with variables: change a parameter of the bench: path=value; may be given again")
      .one_each_time();
  command.footer(R"(Examples:
  stillrotor list parameters        everything a bench file can say, with unit, range and default
  stillrotor list measures          what a scenario can set limits on
  stillrotor list scenario-schema   a JSON Schema of scenario files, for editors
  stillrotor list machines          part files below ./configs, and the parameters of a machine
  stillrotor list variables configs/benches/orchard-cart-mid-m4.yaml
                                    what controller.watch can record of that bench's firmware)");
  command.does([request, &status] { status = list(*request); });
}

}  // namespace stillrotor
