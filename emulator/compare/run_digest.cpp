#include "emulator/compare/run_digest.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "emulator/judge/wording.hpp"
#include "emulator/record/record_reader.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

Json read_result(const fs::path& folder) {
  const fs::path file = folder / "result.json";
  std::ifstream in(file, std::ios::binary);
  if (!in)
    throw std::runtime_error(
        fmt::format("{}: there is no result.json: no run's folder, or a run that was not finished. "
                    "Run it again.",
                    folder.string()));
  const Json json = Json::parse(in, nullptr, false);
  if (!json.is_object() || json.value("format", Json()) != 1)
    throw std::runtime_error(
        fmt::format("{}: is damaged, or of another format than 1. Run it again.", file.string()));
  return json;
}

std::vector<std::string> lines_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);)
    if (!line.empty() && line[0] != '#') lines.push_back(line);
  return lines;
}

std::string label(const Json& limit) {
  std::string text = limit.at("name");
  for (const char* key : {"harmonic", "pattern", "blinks_s"})
    if (limit.contains(key)) text += fmt::format(" ({})", limit[key].get<std::string>());
  if (limit.contains("phase")) text += ", phase " + limit["phase"].get<std::string>();
  if (limit.contains("after")) text += ", after " + limit["after"].get<std::string>();
  // Windows that hang on an event move with it: what was asked for stands in the limits' order.
  else if (text != "controller_alive" && limit.at("window_s").at(0).is_number() &&
           limit["window_s"].at(1).is_number())
    text += fmt::format(", {} s to {} s", number_text(limit["window_s"][0].get<double>()),
                        number_text(limit["window_s"][1].get<double>()));
  return text;
}

void add_measures(const Json& result, RunDigest& run) {
  std::map<std::string, int> seen;
  const auto add = [&](std::string key, const Json& row, const char* verdict) {
    if (const int before = seen[key]++; before > 0) key += fmt::format(" #{}", before + 1);
    const Json& value = row.at("value");
    run.measures.push_back({std::move(key), row.at("unit").get<std::string>(),
                            value.is_number() ? std::optional(value.get<double>()) : std::nullopt,
                            verdict == nullptr ? "" : row.at(verdict).get<std::string>()});
  };
  for (const Json& row : result.at("measures")) add(label(row), row, "verdict");
  for (const Json& row : result.at("overview")) add(row.at("name"), row, nullptr);
}

DigestedEvent::Kind kind_of(const RecordedMark& mark) {
  using enum DigestedEvent::Kind;
  if (mark.kind == MarkKind::action || mark.kind == MarkKind::fault) return cause;
  return mark.kind == MarkKind::text || mark.name == "gates switching" ? other : reaction;
}

void add_events(const RecordReader& record, RunDigest& run) {
  std::vector<RecordedMark> marks = record.marks();
  std::stable_sort(marks.begin(), marks.end(),
                   [](const RecordedMark& a, const RecordedMark& b) { return a.at_ps < b.at_ps; });
  std::map<std::string, int> seen;
  std::string since;
  double since_s = 0.0;
  for (const RecordedMark& mark : marks) {
    // A fault's detail says what it hit, a text's what was said; an event's may hold numbers.
    std::string name = mark.kind == MarkKind::text ? "says \"" + mark.detail + "\"" : mark.name;
    if (mark.kind == MarkKind::fault && !mark.detail.empty()) name += " " + mark.detail;
    const double at_s = static_cast<double>(mark.at_ps) * 1e-12;
    const std::string key = fmt::format("{} #{}", name, ++seen[name]);
    run.events.push_back({kind_of(mark), key, at_s, since, at_s - since_s});
    if (run.events.back().kind != DigestedEvent::Kind::cause) continue;
    since = key;
    since_s = at_s;
  }
}

/// The first lines that only one side has.
std::string difference(const std::vector<std::string>& a, const std::vector<std::string>& b) {
  for (std::size_t k = 0; k < std::max(a.size(), b.size()); ++k) {
    const std::string left = k < a.size() ? a[k] : "nothing",
                      right = k < b.size() ? b[k] : "nothing";
    if (left != right) return fmt::format("\"{}\" against \"{}\"", left, right);
  }
  return {};
}

}  // namespace

RunDigest digest_of(const fs::path& run_folder) {
  const Json result = read_result(run_folder);
  RunDigest run;
  run.folder = run_folder;
  try {
    run.bench = result.at("bench");
    run.scenario = result.at("scenario");
    run.clock = result.at("clock");
    run.verdict = result.at("verdict");
    run.reason = result.at("reason");
    run.firmware_sha256 = result.at("firmware_sha256");
    run.signals_xxh128 = result.value("signals_xxh128", std::string());
    run.seed = result.at("seeds").value("scenario", std::uint64_t{0});
    run.overrides = result.at("overrides").get<std::vector<std::string>>();
    add_measures(result, run);
  } catch (const Json::exception& error) {
    throw std::runtime_error(fmt::format("{}: is damaged: {}. Run it again.",
                                         (run_folder / "result.json").string(), error.what()));
  }
  run.bench_lines = lines_of(run_folder / "bench.yaml");
  run.scenario_lines = lines_of(run_folder / "scenario.yaml");
  std::erase_if(run.scenario_lines,
                [](const std::string& line) { return line.starts_with("seed:"); });
  add_events(RecordReader(run_folder), run);
  return run;
}

std::string not_comparable(const RunDigest& a, const RunDigest& b) {
  const auto unlike = [](const char* what, const std::string& left, const std::string& right) {
    return left == right ? "" : fmt::format("other {}: \"{}\" and \"{}\"", what, left, right);
  };
  std::string why = unlike("bench", a.bench, b.bench);
  if (why.empty()) why = unlike("scenario", a.scenario, b.scenario);
  if (why.empty()) why = unlike("clock", a.clock, b.clock);
  if (why.empty())
    if (const std::string lines = difference(a.scenario_lines, b.scenario_lines); !lines.empty())
      why = fmt::format("other scenario under one name: {}", lines);
  return why;
}

}  // namespace stillrotor
