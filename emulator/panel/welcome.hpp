// What a page is told of a bench before anything has happened (docs/panel-messages.md, welcome).
#pragma once

#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/record/recorded_machine.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// A row of the bench's budget, in words.
struct BudgetRow {
  std::string signal, demand, limit;
  bool fits = false;
  std::string text;
};

/// What the caller knows beside bench and scenario.
struct RunDescription {
  bool on_wall_clock = false;
  bool paced = false;  // no faster than real time
  std::optional<RecordedMachine> machine;
  std::vector<BudgetRow> budgets;
};

/// Lines that the bench connects, by io::LineId.
std::vector<std::uint16_t> connected_lines(const Bench&);
/// The bench's PWM period; 50 us where it states none [s].
double step_s(const Bench&) noexcept;

// Parts that live runs and finished ones share.
nlohmann::json signals_json();
nlohmann::json lines_json(const std::vector<std::uint16_t>&);
nlohmann::json machine_json(const std::optional<RecordedMachine>&);

/// All of it but client, runs and marks.
nlohmann::json live_welcome(const Bench&, const Scenario&, const RunDescription&);

}  // namespace stillrotor
