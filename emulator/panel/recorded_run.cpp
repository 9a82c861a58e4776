#include "emulator/panel/recorded_run.hpp"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>

#include "emulator/panel/line_history.hpp"
#include "emulator/panel/run_document.hpp"
#include "emulator/panel/welcome.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::json;

/// Of a view, in the finest steps that are used; more cost a page a noticeable moment.
constexpr std::int64_t points_at_once = 400'000;
constexpr std::size_t overview_steps[] = {64, 4096};  // that a record has, finest first

void take(Column& column, float first, float least, float greatest, float last) noexcept {
  if (std::isnan(first)) return;
  if (std::isnan(column.first)) {
    column = {first, least, greatest, last};
    return;
  }
  column.least = std::min(column.least, least);
  column.greatest = std::max(column.greatest, greatest);
  column.last = last;
}

}  // namespace

void RecordSource::columns(Signal signal, std::span<const std::int64_t> bounds,
                           std::span<Column> columns) const {
  const std::int64_t from = std::clamp<std::int64_t>(bounds.front(), 0, points());
  const std::int64_t to = std::clamp<std::int64_t>(bounds.back(), from, points());
  std::fill(columns.begin(), columns.end(), Column{});
  if (from == to) return;
  if (to - from <= points_at_once) return fine_columns(signal, bounds, columns);
  const std::size_t points =
      (to - from) / static_cast<std::int64_t>(overview_steps[0]) <= points_at_once
          ? overview_steps[0]
          : overview_steps[1];
  far_columns(signal, points, bounds, columns);
}

void RecordSource::fine_columns(Signal signal, std::span<const std::int64_t> bounds,
                                std::span<Column> columns) const {
  const std::int64_t from = std::clamp<std::int64_t>(bounds.front(), 0, points());
  const std::int64_t to = std::clamp<std::int64_t>(bounds.back(), from, points());
  const auto first = static_cast<std::size_t>(from), count = static_cast<std::size_t>(to - from);
  const std::vector<float> values = record_.values(signal, first, count);
  const bool spread = static_cast<std::size_t>(signal) < spread_count;
  const std::vector<float> least = spread ? record_.least(signal, first, count) : values;
  const std::vector<float> greatest = spread ? record_.greatest(signal, first, count) : values;
  for (std::size_t c = 0; c < columns.size(); ++c)
    for (std::int64_t k = std::max(bounds[c], from); k < std::min(bounds[c + 1], to); ++k) {
      const auto at = static_cast<std::size_t>(k - from);
      take(columns[c], values[at], least[at], greatest[at], values[at]);
    }
}

void RecordSource::far_columns(Signal signal, std::size_t step,
                               std::span<const std::int64_t> bounds,
                               std::span<Column> columns) const {
  const auto size = static_cast<std::int64_t>(step);
  const std::int64_t all = (points() + size - 1) / size;
  const std::int64_t from = std::clamp<std::int64_t>(bounds.front() / size, 0, all);
  const std::int64_t to = std::clamp<std::int64_t>((bounds.back() + size - 1) / size, from, all);
  const std::vector<OverviewBin> bins = record_.overview(
      signal, step, static_cast<std::size_t>(from), static_cast<std::size_t>(to - from));
  for (std::size_t c = 0; c < columns.size(); ++c) {
    if (bounds[c + 1] <= 0 || bounds[c] >= points()) continue;
    const std::int64_t begin = std::max(bounds[c] / size, from);
    const std::int64_t end = std::max(bounds[c + 1] / size, begin + 1);
    for (std::int64_t k = begin; k < std::min(end, to); ++k) {
      const OverviewBin& bin = bins[static_cast<std::size_t>(k - from)];
      const float middle = 0.5F * (bin.least + bin.greatest);
      take(columns[c], middle, bin.least, bin.greatest, middle);
    }
  }
}

void RecordSource::raw(Signal signal, std::int64_t from, std::span<float> values) const {
  std::fill(values.begin(), values.end(), Column::none);
  const auto count = static_cast<std::int64_t>(values.size());
  const std::int64_t begin = std::clamp<std::int64_t>(from, 0, points());
  const std::int64_t end = std::clamp<std::int64_t>(from + count, begin, points());
  if (begin == end) return;
  const std::vector<float> read = record_.values(signal, static_cast<std::size_t>(begin),
                                                 static_cast<std::size_t>(end - begin));
  std::copy(read.begin(), read.end(), values.begin() + (begin - from));
}

void RecordSource::line(std::uint16_t line, double from_s, double step_s,
                        std::span<std::uint8_t> columns) const {
  const std::vector<RecordedEdge>& edges = record_.edges(line);
  const auto picoseconds = [](double time_s) {
    return std::llround(std::clamp(time_s, -9e6, 9e6) * 1e12);
  };
  const auto later = [](std::int64_t at_ps, const RecordedEdge& edge) {
    return at_ps < edge.at_ps;
  };
  const std::int64_t end_ps = picoseconds(record_.end_s());
  for (std::size_t c = 0; c < columns.size(); ++c) {
    const double begin_s = from_s + static_cast<double>(c) * step_s;
    const std::int64_t from_ps = std::max<std::int64_t>(picoseconds(begin_s), 0);
    const std::int64_t to_ps = std::min<std::int64_t>(picoseconds(begin_s + step_s), end_ps);
    columns[c] = 0;
    if (to_ps <= from_ps) continue;
    const auto first = std::upper_bound(edges.begin(), edges.end(), from_ps, later);
    const auto end = std::lower_bound(
        first, edges.end(), to_ps,
        [](const RecordedEdge& edge, std::int64_t at_ps) { return edge.at_ps < at_ps; });
    const bool before =
        first == edges.begin() ? record_.initially_high(line) : std::prev(first)->level != 0;
    const bool after = first == end ? before : std::prev(end)->level != 0;
    std::uint8_t bits = before ? line_column::was_high : line_column::was_low;
    if (first != end) bits = line_column::was_low | line_column::was_high;
    columns[c] = static_cast<std::uint8_t>(bits | (after ? line_column::ends_high : 0));
  }
}

RecordedRun::RecordedRun(std::string name, std::filesystem::path folder)
    : name_(std::move(name)),
      folder_(std::move(folder)),
      record_(folder_),
      source_(record_),
      result_(json_document(folder_ / "result.json")) {
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    if (record_.initially_high(k) || !record_.edges(k).empty()) lines_.push_back(k);
  for (const RecordedMark& mark : record_.marks())
    marks_.push_back({mark.kind, mark.at_ps, mark.to_ps, mark.name, mark.detail});
}

Json RecordedRun::welcome() const {
  return {{"live", false},
          {"run", name_},
          {"bench", record_.bench()},
          {"scenario", record_.scenario()},
          {"clock", record_.clock()},
          {"paced", false},
          {"lasts_s", record_.end_s()},
          {"can_pause", false},
          {"can_drive", false},
          {"step_s", 50e-6},
          {"rate_Hz", record_.rate_Hz()},
          {"pole_pairs", record_.pole_pairs()},
          {"signals", signals_json()},
          {"lines", lines_json(lines_)},
          {"actions", Json::array()},
          {"faults", Json::array()},
          {"machine", machine_json(record_.machine())},
          {"current_limit_A", nullptr},
          {"budgets", Json::array()}};
}

Json RecordedRun::state(Json& moving) const {
  moving["t_s"] = record_.end_s();
  moving["speed_factor"] = 0.0;
  moving["lateness_us"] = nullptr;
  const Json none = Json::object();
  const Json& integrity =
      result_.is_object() && result_.contains("integrity") ? result_.at("integrity") : none;
  const auto count = [&](const char* key) {
    const auto it = integrity.find(key);
    if (it == integrity.end()) return Json(0);
    return it->is_array() ? Json(it->size()) : *it;
  };
  const bool driven = std::filesystem::exists(folder_ / "driven-scenario.yaml");
  return {
      {"phase", "ended"},
      {"not_seen", 0},
      {"integrity",
       {{"deadline_misses", count("deadline_misses")},
        {"lost_edges", count("lost_edges")},
        {"late_writes", count("late_writes")},
        {"gaps", count("gaps")}}},
      {"faults", Json::array()},
      {"set", Json::object()},
      {"verdict", text_of(result_, "verdict").empty() ? Json() : Json(text_of(result_, "verdict"))},
      {"reason", result_.is_object() ? text_of(result_, "reason") : "This run has no verdict."},
      {"report", std::filesystem::exists(folder_ / "report.html")},
      {"saved", driven ? Json("driven-scenario.yaml") : Json()},
      {"problem", record_.finished() ? "" : "The record was cut short."}};
}

std::optional<std::string> RecordedRun::document(std::string_view name) const {
  const bool report = name == "report.html";
  const std::filesystem::path driven = folder_ / "driven-scenario.yaml";
  const std::filesystem::path file = report                            ? folder_ / "report.html"
                                     : std::filesystem::exists(driven) ? driven
                                                                       : folder_ / "scenario.yaml";
  std::ifstream in(file, std::ios::binary);
  if (!in) return {};
  return std::string(std::istreambuf_iterator<char>(in), {});
}

}  // namespace stillrotor
