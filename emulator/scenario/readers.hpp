// The two lists of a scenario file. Included by load_scenario.cpp and by themselves only.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/problems.hpp"
#include "emulator/bench/yaml_tree.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// "when", "after" and "by" of an action. Nothing, and the problem said, when wrong.
std::optional<Condition> read_condition(const Fields&, const Bench&, std::int64_t lasts_ps);

/// Fills scenario.timeline, sorted, and scenario.waiting. Returns the lines of the resolved file,
/// in the same order.
std::vector<std::string> read_timeline(const YamlNode& list, const Bench&, Scenario&, Problems&);

/// Fills scenario.road; the timeline is read already. Returns the lines of the resolved file.
std::vector<std::string> read_road(const YamlNode& list, const Bench&, Scenario&, Problems&);

/// Fills scenario.expect; the timeline is read already. Returns the lines of the resolved file.
/// measures empty: their names and units are not checked.
std::vector<std::string> read_limits(const YamlNode& list, std::span<const KnownMeasure> measures,
                                     Scenario&, Problems&);

/// One key of a resolved file and its value, which is a scalar, or a map or list written already.
struct WrittenPair {
  std::string key, text;
  bool nested = false;
};
/// "{at: 0.4 s, throttle: 2.6 V}"; pairs without text are left out.
std::string flow_map(const std::vector<WrittenPair>&);

/// `{sine: ...}`, `{noise: ...}` or `{table: ...}` in the place of a quantity's value.
struct ReadShape {
  Shape shape;          // a noise is not drawn yet
  std::string label;    // "sine 2 N m, 5 Hz, 2 s"
  std::string written;  // of the resolved file
  std::string table;    // what the file of a table holds; else empty
};
/// In the resolved file, in the place of a table's file: what names it is known to the whole
/// timeline only.
inline constexpr std::string_view table_stands_for = "@table@";
/// A value in that file's own unit may be a share of the throttle's way: `position` turns it into
/// volts. Nothing, and the problem said, when wrong.
struct ShapedQuantity {
  std::string_view name;
  Family family;
  double least, most;
  std::string_view allowed;
  bool is_throttle;
  double idle, full;  // of the throttle, V
};
std::optional<ReadShape> read_shape(const YamlNode&, const ShapedQuantity&, Problems&);

}  // namespace stillrotor
