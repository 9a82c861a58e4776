#include "emulator/live/saved_scenario.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "emulator/bench/input_error.hpp"
#include "emulator/bench/yaml_tree.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/readers.hpp"

namespace stillrotor {
namespace {

constexpr std::int64_t ms_ps = 1'000'000'000;

/// A scenario that ends sooner than planned.
class Cut {
 public:
  Cut(const Scenario& scenario, std::int64_t lasts_ps) : cut_(scenario), lasts_ps_(lasts_ps) {}

  void actions(std::vector<ReadAction>& lines) {
    leave_out(lines, [&](const ReadAction& one) {
      return one.condition ? !can_come(*one.condition) : one.action.at_ps > lasts_ps_;
    });
    const std::set<std::string> coming = events_that_come(lines, cut_.start.key);
    leave_out(lines, [&](const ReadAction& one) {
      return one.condition && !one.condition->after.empty() &&
             !coming.contains(one.condition->after);
    });
    for (ReadAction& one : lines)
      if (one.condition && one.condition->by_ps > lasts_ps_) shorten(one);
  }

  /// What the reader of limits would refuse now. lines: the actions that are left.
  void limits(const std::vector<ReadAction>& lines, std::vector<std::string>& expect) {
    cut_.lasts_ps = lasts_ps_;
    cut_.timeline.clear();
    cut_.waiting.clear();
    for (const ReadAction& one : lines)
      if (one.condition)
        cut_.waiting.push_back({*one.condition, one.action});
      else
        cut_.timeline.push_back(one.action);
    std::erase_if(expect, [&](const std::string& line) {
      const bool outside = !fits(line);
      if (outside) left_out_.push_back(line);
      return outside;
    });
  }

  const std::vector<std::string>& left_out() const noexcept { return left_out_; }

 private:
  template <class Late>
  void leave_out(std::vector<ReadAction>& lines, const Late& late) {
    std::erase_if(lines, [&](const ReadAction& one) {
      if (!late(one)) return false;
      left_out_.push_back(one.line);
      return true;
    });
  }

  bool can_come(const Condition& condition) const {
    const bool counts = condition.what == Watched::time_since;
    return condition.for_ps + (counts ? to_ps(condition.bound) : 0) < lasts_ps_;
  }

  /// It is watched to the new end at most.
  void shorten(ReadAction& one) const {
    one.condition->by_ps = lasts_ps_;
    constexpr std::string_view by = ", by: ";
    const std::size_t begin = one.line.find(by) + by.size();
    one.line.replace(begin, one.line.find_first_of(",}", begin) - begin, time_text(lasts_ps_));
  }

  bool fits(const std::string& line) {
    Problems problems;
    cut_.expect.clear();
    const YamlNode limit = parse_yaml("expect:\n  - " + line + "\n", "the scenario");
    read_limits(*limit.find("expect"), {}, cut_, problems);
    const Window& window = cut_.expect.front().window;
    const bool hangs = !window.after.empty() || !window.before.empty();
    return problems.empty() && (hangs || to_ps(window.from_s) < lasts_ps_);
  }

  Scenario cut_;
  std::int64_t lasts_ps_;
  std::vector<std::string> left_out_;
};

}  // namespace

std::string time_text(std::int64_t at_ps) {
  const std::int64_t ms = (at_ps + ms_ps - 1) / ms_ps;
  std::string text = fmt::format("{}.{:03}", ms / 1000, ms % 1000);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text + " s";
}

std::string saved_scenario(const Scenario& scenario, const std::vector<ReadAction>& own,
                           const std::vector<ReadAction>& driven, std::int64_t end_ps) {
  ResolvedScenario saved = scenario.resolved;
  std::string head =
      "# Driven: everything the scenario says, defaults included, and what was done at the running "
      "bench.\n";
  std::vector<ReadAction> lines = own;
  lines.insert(lines.end(), driven.begin(), driven.end());
  sort_timeline(lines);
  if (end_ps >= 0 && end_ps < scenario.lasts_ps) {
    const std::int64_t lasts_ps = std::max((end_ps + ms_ps - 1) / ms_ps * ms_ps, ms_ps);
    head += fmt::format("# It was stopped; it would have lasted {}.\n", saved.lasts);
    saved.lasts = time_text(lasts_ps);
    Cut cut(scenario, lasts_ps);
    cut.actions(lines);
    cut.limits(lines, saved.expect);
    if (!cut.left_out().empty()) head += "# Left out, because it lies later:\n";
    for (const std::string& line : cut.left_out()) head += fmt::format("#   {}\n", line);
  }
  saved.timeline.clear();
  for (ReadAction& one : lines) saved.timeline.push_back(std::move(one.line));
  return head + saved.text();
}

}  // namespace stillrotor
