#include "emulator/judge/stretch.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

std::int64_t to_ps(double seconds) { return std::llround(seconds * 1e12); }
double to_s(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

std::optional<std::int64_t> find_event(const RecordReader& record, const std::string& wanted,
                                       std::int64_t not_before_ps = 0) {
  for (const RecordedMark& mark : record.marks()) {
    if (mark.at_ps < not_before_ps) continue;
    if (mark.kind == MarkKind::text || mark.kind == MarkKind::gap) continue;
    if (mark.name == wanted || mark.detail == wanted) return mark.at_ps;
  }
  return std::nullopt;
}

std::string events_of(const RecordReader& record) {
  std::string names;
  for (const RecordedMark& mark : record.marks()) {
    if (mark.kind != MarkKind::action && mark.kind != MarkKind::fault) continue;
    if (names.size() > 200) return names + ", ...";
    names += (names.empty() ? "" : ", ") + mark.name;
  }
  return names.empty() ? "nothing at all happened" : "what happened: " + names;
}

GridRange range(double first, double end, std::size_t frames) {
  const double limit = static_cast<double>(frames);
  const double from = std::clamp(first, 0.0, limit), to = std::clamp(end, from, limit);
  return {static_cast<std::size_t>(from), static_cast<std::size_t>(to - from)};
}

void find_bins(const RecordReader& record, Stretch& stretch) {
  // In grid steps; the tolerance keeps an end that was meant to lie on the grid on the grid.
  constexpr double tolerance = 1e-6;
  const double from = to_s(stretch.from_ps) * record.rate_Hz();
  const double to = to_s(stretch.to_ps) * record.rate_Hz();
  const double first_whole = std::ceil(from - tolerance), last_whole = std::floor(to + tolerance);
  stretch.inside = range(first_whole, last_whole, record.frames());
  stretch.touching =
      range(std::floor(from + tolerance), std::ceil(to - tolerance), record.frames());
  stretch.points = range(first_whole - 1.0, last_whole, record.frames());
  stretch.covered = std::min(1.0, static_cast<double>(stretch.inside.count) / (to - from));
}

}  // namespace

ResolvedWindow resolve(const RecordReader& record, const Window& window) {
  ResolvedWindow answer;
  Stretch& stretch = answer.stretch;
  const bool to_the_end = window.to_s < 0.0;
  const std::int64_t end_ps = to_ps(record.end_s());
  const auto did_not_happen = [&](const std::string& event, std::string_view when) {
    answer.undefined = "\"" + event + "\" did not happen" + std::string(when) + " in this run (" +
                       events_of(record) + ")";
    return answer;
  };
  std::int64_t origin_ps = 0;
  const std::string& first = window.before.empty() ? window.after : window.before;
  if (!first.empty()) {
    const auto event_ps = find_event(record, first);
    if (!event_ps) return did_not_happen(first, "");
    origin_ps = *event_ps;
    if (window.before.empty()) stretch.event_ps = event_ps;
  }
  if (!window.before.empty()) {
    stretch.from_ps = window.from_s < 0.0 ? 0 : origin_ps - to_ps(window.from_s);
    stretch.to_ps = origin_ps - to_ps(window.to_s);
  } else {
    stretch.from_ps = origin_ps + to_ps(window.from_s);
    stretch.to_ps = to_the_end ? end_ps : origin_ps + to_ps(window.to_s);
  }
  if (!window.until.empty()) {
    const auto last_ps = find_event(record, window.until, stretch.from_ps);
    if (!last_ps) return did_not_happen(window.until, " after the window's beginning");
    stretch.to_ps = *last_ps + to_ps(window.to_s);
  }
  if (to_the_end && !record.finished()) {
    answer.undefined = "the record was cut short at " + quantity_text(record.end_s(), "s") +
                       ", and the window reaches to the end of the run";
  } else if (stretch.from_ps < 0 || stretch.to_ps > end_ps || stretch.from_ps > end_ps) {
    answer.undefined = "the window from " + quantity_text(to_s(stretch.from_ps), "s") + " to " +
                       quantity_text(to_s(stretch.to_ps), "s") +
                       " lies outside the record, which covers 0 s to " +
                       quantity_text(record.end_s(), "s");
  } else if (stretch.to_ps <= stretch.from_ps) {
    answer.undefined = "the window is empty: it begins at " +
                       quantity_text(to_s(stretch.from_ps), "s") + " and ends at " +
                       quantity_text(to_s(stretch.to_ps), "s");
  } else {
    find_bins(record, stretch);
  }
  return answer;
}

}  // namespace stillrotor
