#include <fmt/format.h>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/parameter_table.hpp"
#include "emulator/bench/readings.hpp"
#include "emulator/bench/resolved_yaml.hpp"
#include "emulator/bench/uncalibrated_bench.hpp"

namespace stillrotor {
namespace {

std::string origin_of(const Reading& row) {
  switch (row.state) {
    case Reading::State::given:
      return row.place.line > 0 ? row.place.origin() : "--set";
    case Reading::State::defaulted:
      return "default";
    case Reading::State::derived:
      return "follows: " + row.parameter->fallback;
    case Reading::State::shown:
      return "follows";
    case Reading::State::absent:
      break;
  }
  return "not given";
}

std::vector<ParameterValue> values_of(const Readings& readings, Draft& draft) {
  std::vector<ParameterValue> values;
  for (const Reading& row : readings.rows) {
    if (!row.applies || row.state == Reading::State::absent) continue;
    const std::string si = shown_value(*row.parameter, draft);
    values.push_back(
        {row.parameter->path, row.written.empty() ? si : row.written, si, origin_of(row)});
  }
  return values;
}

/// The plant has the last word on its own parameters.
void let_plant_check(const plant::DriveParameters& parameters, Readings& readings,
                     const std::string& file, Problems& problems) {
  try {
    const plant::Drive drive(parameters);
  } catch (const std::invalid_argument& error) {
    const std::string_view said = error.what(), path = said.substr(0, said.find(' '));
    problems.add(find_parameter(path) != nullptr ? readings.at(path).place : whole(file), said);
  }
}

Bench load(const std::filesystem::path& file, const std::vector<std::string>& overrides,
           const std::filesystem::path& build_dir, bool calibrated) {
  const std::string shown = file.string();
  YamlNode root = read_yaml(file, shown);
  Problems problems;
  resolve_parts(root, file, problems);
  Draft draft;
  Readings readings = collect(root, shown, overrides, problems);
  if (!calibrated) readings.at("controller.calibration").state = Reading::State::absent;
  convert(readings, draft, problems);
  assemble(readings, draft, build_dir, problems);
  if (problems.empty()) let_plant_check(draft.bench.drive, readings, shown, problems);
  problems.throw_if_any();

  Bench& bench = draft.bench;
  bench.file = file;
  bench.overrides = overrides;
  bench.values = values_of(readings, draft);
  bench.resolved_yaml = resolved_bench_yaml(readings, draft);
  return std::move(bench);
}

}  // namespace

Bench load_bench(const std::filesystem::path& file, const std::vector<std::string>& overrides,
                 const std::filesystem::path& build_dir) {
  return load(file, overrides, build_dir, true);
}

Bench load_uncalibrated_bench(const std::filesystem::path& file,
                              const std::vector<std::string>& overrides,
                              const std::filesystem::path& build_dir) {
  return load(file, overrides, build_dir, false);
}

}  // namespace stillrotor
