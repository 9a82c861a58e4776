#include "emulator/bench/parameter_table.hpp"

#include <iterator>
#include <map>

#include "emulator/bench/parameter_rows.hpp"

namespace stillrotor {
namespace {

constexpr const char* longest_kept = "60 s";  // it waits in memory

std::vector<Parameter> build() {
  using namespace rows;
  std::vector<Parameter> all;
  const auto append = [&](std::vector<Parameter> section) {
    std::move(section.begin(), section.end(), std::back_inserter(all));
  };
  append({text("bench", AT(bench.name), "a name", required, "what people call this bench")});
  append(machine_parameters());
  append(magnet_parameters());
  append(bridge_parameters());
  append(supply_parameters());
  append(load_parameters());
  append(thermal_parameters());
  append(position_sensor_parameters());
  append(angle_sensor_parameters());
  append(electrical_sensor_parameters());
  append(temperature_sensor_parameters());
  append(controller_parameters());
  append(link_parameters());
  append(harness_parameters());
  append(converter_parameters());
  append(cycle_parameters());
  append({
      real("record.rate", AT(bench.record_rate_Hz), Family::frequency, between("100 Hz", "1 MHz"),
           by_default("20 kHz"),
           "grid of the recorded signals; least and greatest in between kept"),
      real("record.keep_before", AT(bench.keep_before_s), Family::time,
           between("0 s", longest_kept), optional,
           "keep the signals only around faults and events: so long before each, and before the "
           "end; run --keep-before says it for one run"),
      real("record.keep_after", AT(bench.keep_after_s), Family::time, between("0 s", longest_kept),
           optional, "and so long after each; run --keep-after says it for one run"),
      real("plant.step_max", AT(bench.drive.step_max_s), Family::time, between("0.1 us", "50 us"),
           by_default("10 us"), "longest step of the plant between two events"),
  });
  return all;
}

}  // namespace

std::span<const Parameter> parameter_table() {
  static const std::vector<Parameter> table = build();
  return table;
}

const Parameter* find_parameter(std::string_view path) {
  static const std::map<std::string_view, const Parameter*> by_path = [] {
    std::map<std::string_view, const Parameter*> map;
    for (const Parameter& parameter : parameter_table()) map[parameter.path] = &parameter;
    return map;
  }();
  const auto found = by_path.find(path);
  return found == by_path.end() ? nullptr : found->second;
}

}  // namespace stillrotor
