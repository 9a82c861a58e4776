// A fault of the catalogue: what breaks, what a bench needs for it, what the scenario has to say.
// One file of this folder each; fault_catalogue() lists them.
// RT: begin and end are safe: they allocate, lock, log and throw nothing.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "emulator/bench/units.hpp"

namespace stillrotor {

struct Bench;
class FaultSite;

/// What a scenario says beside the fault's name: `line: U`, `resistance: 50 mohm`.
struct FaultOption {
  std::string_view name{};
  std::span<const std::string_view> words{};  // one of these; empty: a quantity
  Family family = Family::ratio;
  double least = 0.0, most = 0.0;  // SI, of a quantity
  std::string_view allowed{};      // "0 ohm to 100 ohm"
  std::string_view example{};
  std::string_view preset{};  // where the scenario does not say it; empty: it has to
  bool which = false;         // says which of several alike breaks: what ends the fault says it too
};

/// The options' values in the fault's own order: SI, or the place of the word.
struct FaultSettings {
  static constexpr std::size_t most = 5;
  std::array<double, most> value{};

  double operator[](std::size_t option) const noexcept { return value[option]; }
  std::size_t word(std::size_t option) const noexcept {
    return static_cast<std::size_t>(value[option]);
  }
};

struct Fault {
  std::string_view name{};
  std::string_view text{};                 // what breaks, in one line
  std::span<const FaultOption> options{};  // at most FaultSettings::most
  std::string_view needs{};                // "Halls"; empty: any bench can have it
  std::string_view where{};                // the parameters that decide that

  /// What cannot be together in its settings, and the remedy, in a sentence; empty: nothing.
  /// nullptr: everything can.
  std::string_view (*conflict)(const FaultSettings&) noexcept = nullptr;
  /// Can it happen on this bench? nullptr: on any.
  bool (*fits)(const Bench&, const FaultSettings&) = nullptr;
  /// The same instant may see both; each is called once for each time it happens.
  void (*begin)(FaultSite&, const FaultSettings&) noexcept = nullptr;
  /// nullptr: it lasts to the end of the run, and a scenario that clears it is refused.
  void (*end)(FaultSite&, const FaultSettings&) noexcept = nullptr;

  /// Of a fault that moves by itself: called at its begin (turn 0) and then at each moment that it
  /// names, until it ends. Returns the next moment [ps], later than now; never_ps: no more.
  std::int64_t (*go_on)(FaultSite&, const FaultSettings&, std::int64_t turn) noexcept = nullptr;
  static constexpr std::int64_t never_ps = INT64_MAX;
};

/// In the order of the signal's way: gates, bridge, machine, sensors, driver, supply, shaft.
std::span<const Fault* const> fault_catalogue() noexcept;
/// Can it happen on this bench, to any of several alike?
bool is_possible(const Fault&, const Bench&);
/// nullptr: unknown.
const Fault* find_fault(std::string_view name) noexcept;

}  // namespace stillrotor
