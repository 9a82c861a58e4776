#include "emulator/cli/rehearsal_report.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "emulator/cli/table.hpp"
#include "emulator/judge/side_by_side.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::ordered_json;

constexpr int digits = 4;
constexpr int json_digits = 7;  // what a float32 record carries

std::string shown(const Measurement& measured, std::string_view unit) {
  if (!measured.undefined.empty()) return "-";
  return (measured.at_least ? "at least " : "") + quantity_text(measured.value, unit, digits);
}

std::string percent(const MeasuredTwice& row) {
  if (!row.defined() || row.one.value == 0.0) return "-";
  return fmt::format("{:+.3g} %", 100.0 * row.difference() / std::abs(row.one.value));
}

Json number(double value) { return std::stod(fmt::format("{:.{}g}", value, json_digits)); }
Json value(const Measurement& measured) {
  return measured.undefined.empty() ? number(measured.value) : Json(nullptr);
}

std::string losses(const RehearsedOutcome& outcome) {
  std::string text;
  if (outcome.gone > 0)
    text += fmt::format("  {} of {} edges never came through, {} of them told as lost.\n",
                        outcome.gone, outcome.gone + outcome.wires.edges, outcome.wires.lost_edges);
  if (outcome.wires.late_transfers > 0)
    text += fmt::format("  {} of {} writes found the converter still busy.\n",
                        outcome.wires.late_transfers, outcome.wires.transfers);
  const CleaningCounts& gates = outcome.gates.cleaning;
  if (gates.real + gates.repaired > 0)
    text +=
        fmt::format("  Both switches of a leg seen on together {} times, {} of them repaired.\n",
                    gates.real + gates.repaired, gates.repaired);
  return text;
}

}  // namespace

std::string rehearsal_text(const Judgement& exact, const Judgement& rehearsed,
                           const Rehearsal& rehearsal) {
  std::vector<std::vector<std::string>> rows{
      {"measure", "exact", "rehearsed", "difference", "of exact"}};
  for (const MeasuredTwice& row : side_by_side(exact, rehearsed))
    rows.push_back({row.name, shown(row.one, row.unit), shown(row.other, row.unit),
                    row.defined() ? quantity_text(row.difference(), row.unit, digits) : "-",
                    percent(row)});
  const RehearsedRoute& route = rehearsal.route;
  std::string text =
      fmt::format("\nRehearsed on {} ({}):\n  {}.\n  Limits {}; volts {}.\n\n{}\n{}", route.asked,
                  route.lines.name, described(route), route.lines.grounds, route.volts.grounds,
                  table(rows), losses(rehearsal.outcome));
  text += exact.verdict == rehearsed.verdict
              ? fmt::format("  On these wires the verdict would be the same: {}.\n",
                            name(rehearsed.verdict))
              : fmt::format("  On these wires the verdict would be {}, not {}: {}\n",
                            name(rehearsed.verdict), name(exact.verdict), rehearsed.reason);
  text +=
      "  Not in it: turns of the cycle that come late (stillrotor host measures them), and losses "
      "of kinds that the route's limits do not name.\n";
  return text;
}

std::string rehearsal_json(const Judgement& exact, const Judgement& rehearsed,
                           const Rehearsal& rehearsal) {
  const RehearsedRoute& route = rehearsal.route;
  const RehearsedOutcome& outcome = rehearsal.outcome;
  Json json{{"format", 1},
            {"route", route.asked},
            {"imposed", described(route)},
            {"grounds", route.lines.grounds},
            {"verdict", {{"exact", name(exact.verdict)}, {"rehearsed", name(rehearsed.verdict)}}},
            {"edges",
             {{"came_through", outcome.wires.edges},
              {"lost", outcome.gone},
              {"told_as_lost", outcome.wires.lost_edges}}},
            {"measures", Json::array()}};
  for (const MeasuredTwice& row : side_by_side(exact, rehearsed))
    json["measures"].push_back({{"name", row.name},
                                {"unit", row.unit},
                                {"exact", value(row.one)},
                                {"rehearsed", value(row.other)}});
  return json.dump(2) + "\n";
}

}  // namespace stillrotor
