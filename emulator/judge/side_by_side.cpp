#include "emulator/judge/side_by_side.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

std::string label(const Limit& limit) {
  const Window& window = limit.window;
  std::string text = limit.measure;
  if (!window.after.empty()) text += ", after " + window.after;
  if (!window.until.empty()) text += ", until " + window.until;
  if (!window.before.empty()) text += ", before " + window.before;
  const bool hangs = !window.after.empty() || !window.until.empty() || !window.before.empty();
  if (!hangs && (window.from_s > 0.0 || window.to_s >= 0.0))
    text += ", " + number_text(window.from_s) + " s to " +
            (window.to_s < 0.0 ? "the end" : number_text(window.to_s) + " s");
  if (!limit.argument.empty()) text += ", " + limit.argument;
  if (!limit.signal.empty()) text += ", phase " + limit.signal;
  return text;
}

}  // namespace

double MeasuredTwice::rank() const noexcept {
  if (one.undefined.empty() != other.undefined.empty()) return 3.0;
  const double size = std::max(std::fabs(one.value), std::fabs(other.value));
  return defined() && size > 0.0 ? std::fabs(difference()) / size : 0.0;
}

std::vector<MeasuredTwice> side_by_side(const Judgement& one, const Judgement& other) {
  std::vector<MeasuredTwice> rows;
  const auto seen = [&rows](const std::string& name) {
    return std::any_of(rows.begin(), rows.end(),
                       [&](const MeasuredTwice& row) { return row.name == name; });
  };
  for (const auto& [info, measured] : one.overview)
    for (const auto& [twin, again] : other.overview)
      if (twin->name == info->name)
        rows.push_back({std::string(info->name), info->unit, measured, again});
  // Limits come in the scenario's order in both; the implicit one, if it is there, is no measure.
  const std::size_t limits = std::min(one.limits.size(), other.limits.size());
  for (std::size_t k = 0; k < limits; ++k) {
    const JudgedLimit &a = one.limits[k], &b = other.limits[k];
    const std::string name = label(a.limit);
    if (a.limit.measure != b.limit.measure || a.limit.measure == "controller_alive" || seen(name))
      continue;
    rows.push_back({name, a.unit, a.measured, b.measured});
  }
  std::stable_sort(rows.begin(), rows.end(), [](const MeasuredTwice& a, const MeasuredTwice& b) {
    return a.rank() > b.rank();
  });
  return rows;
}

}  // namespace stillrotor
