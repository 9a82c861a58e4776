#include "emulator/panel/welcome.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "emulator/bench/units.hpp"
#include "emulator/faults/catalogue.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/scenario/bench_needs.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::json;

std::string_view group(io::LineId line) noexcept {
  using namespace io::line;
  if (io::is_gate(line)) return "gates";
  if (line == hall_U || line == hall_V || line == hall_W) return "halls";
  const std::size_t k = io::index(line);
  if ((k >= io::index(encoder_A) && k <= io::index(encoder_Z)) || line == angle_data)
    return "encoder";
  if (line == key || line == brake || line == reverse || line == speed_limit ||
      line == command_pulse)
    return "driver";
  return "controller";
}

Json bound(double value) { return std::isfinite(value) ? Json(value) : Json(); }

Json action_json(const ActionWord& word, const Bench& bench) {
  using Form = ActionWord::Form;
  Json json{{"name", word.name},
            {"form", word.form == Form::on_off ? "on_off"
                     : word.form == Form::step ? "step"
                                               : "ramp"},
            {"unit", si_unit(word.family)},
            {"least", bound(word.least)},
            {"most", bound(word.most)},
            {"allowed", word.allowed},
            {"text", word.text},
            {"now", nullptr}};
  if (word.kind == ActionKind::throttle) {
    json["idle"] = bench.controls.throttle_idle_V;
    json["full"] = bench.controls.throttle_full_V;
  }
  if (word.kind == ActionKind::temperature) json["of"] = body_words;
  return json;
}

Json option_json(const FaultOption& option) {
  Json json{{"name", option.name},
            {"preset", option.preset.empty() ? Json() : Json(option.preset)}};
  if (!option.words.empty()) {
    json["words"] = Json::array();
    for (const std::string_view word : option.words) json["words"].push_back(word);
    return json;
  }
  json["unit"] = si_unit(option.family);
  json["allowed"] = option.allowed;
  json["example"] = option.example;
  return json;
}

Json fault_json(const Fault& fault) {
  Json options = Json::array();
  for (const FaultOption& option : fault.options) options.push_back(option_json(option));
  return {{"name", fault.name},
          {"text", fault.text},
          {"clears", fault.end != nullptr},
          {"options", options}};
}

/// Of a built-in controller; others keep theirs to themselves.
Json current_limit(const Bench& bench) {
  for (const ParameterValue& value : bench.values)
    if (value.path == "controller.current_limit")
      if (const Conversion current = to_si(value.si, Family::current)) return current.si;
  return nullptr;
}

}  // namespace

std::vector<std::uint16_t> connected_lines(const Bench& bench) {
  std::vector<std::uint16_t> lines;
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    if (bench.harness.lines[k].connected) lines.push_back(k);
  return lines;
}

double step_s(const Bench& bench) noexcept {
  return bench.expects.pwm_frequency_Hz > 0.0 ? 1.0 / bench.expects.pwm_frequency_Hz : 50e-6;
}

Json signals_json() {
  Json list = Json::array();
  for (const SignalInfo& signal : signal_table)
    list.push_back({{"name", signal.name},
                    {"unit", signal.unit},
                    {"spread", signal.spread},
                    {"text", signal.text}});
  return list;
}

Json lines_json(const std::vector<std::uint16_t>& lines) {
  Json list = Json::array();
  for (const std::uint16_t line : lines)
    list.push_back({{"name", io::name(io::LineId{line})}, {"group", group(io::LineId{line})}});
  return list;
}

Json machine_json(const std::optional<RecordedMachine>& machine) {
  if (!machine) return nullptr;
  return {{"winding_resistance_ohm", machine->winding_resistance_ohm},
          {"inductance_d_H", machine->inductance_d_H},
          {"inductance_q_H", machine->inductance_q_H},
          {"flux_linkage_Wb", machine->flux_linkage_Wb}};
}

Json live_welcome(const Bench& bench, const Scenario& scenario, const RunDescription& run) {
  Json actions = Json::array(), faults = Json::array(), budgets = Json::array();
  for (const ActionWord& word : action_words())
    if (wired(word.kind, bench.harness) && missing_part(word.kind, bench).empty())
      actions.push_back(action_json(word, bench));
  for (const Fault* fault : fault_catalogue())
    if (is_possible(*fault, bench)) faults.push_back(fault_json(*fault));
  for (const BudgetRow& row : run.budgets)
    budgets.push_back({{"signal", row.signal},
                       {"demand", row.demand},
                       {"limit", row.limit},
                       {"fits", row.fits},
                       {"text", row.text}});
  return {{"live", true},
          {"bench", bench.name},
          {"scenario", scenario.name},
          {"clock", run.on_wall_clock ? "wall" : "virtual"},
          {"paced", run.paced || run.on_wall_clock},
          {"lasts_s", static_cast<double>(scenario.lasts_ps) * 1e-12},
          {"can_pause", !run.on_wall_clock},
          {"can_drive", true},
          {"step_s", step_s(bench)},
          {"rate_Hz", bench.record_rate_Hz},
          {"pole_pairs", bench.drive.pole_pairs()},
          {"signals", signals_json()},
          {"lines", lines_json(connected_lines(bench))},
          {"actions", actions},
          {"faults", faults},
          {"machine", machine_json(run.machine)},
          {"current_limit_A", current_limit(bench)},
          {"budgets", budgets}};
}

}  // namespace stillrotor
