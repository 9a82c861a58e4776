// A scenario, read, checked and compiled: a timeline in picoseconds and limits in SI.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/faults/fault.hpp"
#include "emulator/scenario/condition.hpp"
#include "emulator/scenario/road.hpp"
#include "emulator/scenario/shape.hpp"
#include "io/connector.hpp"
#include "plant/sensors/temperature.hpp"

namespace stillrotor {

struct Bench;

enum class ActionKind : std::uint8_t {
  key,             // value 0/1: controller supply and key line
  brake,           // value 0/1
  reverse,         // value 0/1
  speed_limit,     // value 0/1
  throttle,        // value volts at the throttle's wire
  load_torque,     // value Nm at the motor shaft
  slope,           // value rise over run
  supply_voltage,  // value V, open-circuit or set voltage
  supply,          // value 0/1: its connector is closed
  wind,            // value m/s against the cart
  pedal_torque,    // value Nm, mean at the crank
  held_speed,      // value rad/s, of a dynamometer
  driver_supply,   // value V, of the gate driver; a step
  command_pulse,   // value 0/1: it is sent
  temperature,     // value K, of Action::body
  ambient,         // value K, of the surroundings
  rolling_factor,  // value share of the load's rolling resistance
  grip_factor,     // value share of the tyre's grip
  fault            // see emulator/faults
};

struct Action {
  std::int64_t at_ps = 0;
  std::int64_t over_ps = 0;  // ramp duration; 0: step
  ActionKind kind = ActionKind::key;
  double value = 0.0;  // final value, SI
  const Fault* fault = nullptr;
  FaultSettings settings;
  bool cleared = false;                // the fault ends here
  bool overtakes = false;              // ends the quantity's movement that is under way
  std::shared_ptr<const Shape> shape;  // in the place of value and ramp
  double least = 0.0, most = 0.0;      // what it keeps the quantity within
  std::vector<std::int64_t> flips;     // of an intermittent fault, see draw_flips()
  std::int64_t flickers_ps = 0;        // of an intermittent fault: by then it is over
  std::string end_mark;                // of an intermittent fault: its end's name in the record
  std::size_t body = 0;                // a plant::TemperatureNode
  std::string mark;                    // its name in the record: "key on", "hall_line_open cleared"
  std::string which;                   // of several alike, what a fault hits: "U"
  std::string label;                   // for people: "throttle 2.6 V over 300 ms"
};

/// An action that happens when something comes to hold, once.
struct WaitingAction {
  Condition condition;
  Action action;  // its time means nothing
};

struct Start {
  double speed_rad_s = 0.0;
  double angle_rad = 0.0;  // mechanical
  bool key = false;
  std::optional<double> charge;  // state of charge; absent: the bench's
  std::optional<double> bus_V;   // of the DC link; absent: the supply's
  /// By plant::TemperatureNode; absent: the bench's.
  std::array<std::optional<double>, plant::temperature_node_count> temperature_K;
};

/// A window in the record. Ends may hang on an event's name ("hall_line_open", "key on").
struct Window {
  double from_s = 0.0;
  double to_s = -1.0;    // < 0: to the end of the run
  std::string after;     // event: from_s counts from it; empty: from the start
  std::string until{};   // event, the first one after the beginning: to_s counts from it
  std::string before{};  // event: both count backwards from it, and from_s < 0 is from the start
};

struct Limit {
  std::string measure;  // a name of the measure table
  std::string signal;   // a phase, where the measure takes one; else empty
  // What else it asks for: the harmonic's order, the pattern; "shortest longest pause" of blinks in
  // seconds; else empty.
  std::string argument;
  Window window;
  std::optional<double> min, max;  // in the measure's unit
  std::string unit;                // the unit the limit was written in: "A", "electrical turns"
  std::string because;
  std::string origin;  // file:line
};

/// The resolved file in parts: whole values and lines, in YAML but for name, lasts and seed.
struct ResolvedScenario {
  std::string name, lasts, seed = "1", start = "{speed: 0 rpm, angle: 0 deg, key: off}";
  std::vector<std::string> parameters, road;
  std::vector<std::string> timeline;  // as Scenario::timeline, then what waits
  std::vector<std::string> expect;

  std::string text() const;
};

/// A table of the timeline, to lie beside the resolved file.
struct TableFile {
  std::string name, text;
};

struct Scenario {
  std::string name;
  std::filesystem::path file;
  std::int64_t lasts_ps = 0;
  Start start;
  std::uint64_t seed = 1;
  Road road;
  std::vector<Action> timeline;        // sorted by time, stable
  std::vector<WaitingAction> waiting;  // in the file's order
  std::vector<Limit> expect;
  std::vector<std::string> overrides;  // of its parameters: "top=3 V"
  ResolvedScenario resolved;
  std::string resolved_yaml;      // it, as a file
  std::vector<TableFile> tables;  // that resolved_yaml names
};

/// By time first, then what waits.
template <class Do>
void for_each_action(const Scenario& scenario, const Do& act) {
  for (const Action& action : scenario.timeline) act(action);
  for (const WaitingAction& one : scenario.waiting) act(one.action);
}

/// The record's event for a condition that was not met in its time.
inline constexpr std::string_view condition_not_met = "condition not met";

/// What a measure cannot do without, beside its window.
enum class Asks : std::uint8_t {
  nothing,
  event,     // `after`
  harmonic,  // `harmonic: 6`, of the electrical frequency
  pattern,   // `pattern: regular expression`, over what the controller sends
  blinks     // nothing; but what a blink is can be said, see Blinks
};
constexpr bool needs_window_only(Asks asks) noexcept {
  return asks == Asks::nothing || asks == Asks::blinks;
}

/// What counts as a blink of a lamp, and what parts a group of them from the next. Defaults: common
/// practice.
struct Blinks {
  double shortest_s = 0.05;  // light, or dark between blinks
  double longest_s = 0.8;    // the same
  double pause_s = 1.0;      // least dark between groups
};

/// What a limit may be set on. The judge's table has the measures; the caller passes them, so that
/// reading a scenario does not depend on judging it.
struct KnownMeasure {
  std::string_view name;
  std::string_view unit;  // SI; empty: the limit says it
  bool per_phase = false;
  Asks asks = Asks::nothing;
};

/// Throws InputError. `settings`: values of its parameters, "top=3 V". The bench decides what a
/// scenario may use (a Hall fault needs Halls).
Scenario load_scenario(const std::filesystem::path& file, const Bench& bench,
                       std::span<const KnownMeasure> measures,
                       std::span<const std::string> settings = {});
/// The same without a check of measures' names and units.
Scenario load_scenario(const std::filesystem::path& file, const Bench& bench);

}  // namespace stillrotor
