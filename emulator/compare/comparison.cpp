#include "emulator/compare/comparison.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "emulator/compare/signals.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// A run as a baseline of itself: every band without width.
Baseline exactly(const RunDigest& run) {
  Baseline baseline;
  baseline.bench = run.bench;
  baseline.scenario = run.scenario;
  baseline.clock = run.clock;
  baseline.verdict = run.verdict;
  baseline.runs = 1;
  baseline.seeds = {run.seed};
  if (!run.firmware_sha256.empty()) baseline.firmware_sha256 = {run.firmware_sha256};
  for (const DigestedMeasure& one : run.measures)
    baseline.measures[one.key] = {one.value.value_or(0.0), 0.0, one.value ? std::size_t{1} : 0,
                                  one.unit, one.verdict};
  for (const DigestedEvent& one : run.events)
    baseline.events[one.key] = {one.after_s, 0.5e-12, 1, "s", one.counts() ? counting : ""};
  return baseline;
}

std::string shown(double value, const std::string& unit) { return quantity_text(value, unit, 5); }

/// Rank and words for a value that left its place.
Change moved(const std::string& name, double to, const Band& band, bool by_bands) {
  const double from = band.mean;
  const double size = std::max(std::fabs(from), std::fabs(to));
  const double rank = by_bands     ? band.bands_from(to)
                      : size > 0.0 ? std::fabs(to - from) / size
                                   : 0.0;
  std::string text =
      fmt::format("{}: {}, was {}", name, shown(to, band.unit), shown(from, band.unit));
  if (by_bands && std::isfinite(rank))
    text += fmt::format(" +- {}: {:.3g} bands", shown(band.half_width, band.unit), rank);
  else if (from != 0.0)
    text += fmt::format(" ({:+.3g} %)", 100.0 * (to - from) / std::fabs(from));
  return {rank, text};
}

constexpr double first_of_all = 1e30;  // ranks before any move

void compare_verdicts(const Baseline& before, const RunDigest& after, Comparison& found) {
  if (before.verdict != "*" && before.verdict != after.verdict)
    found.verdicts.push_back(
        fmt::format("the run is {}, was {}: {}", after.verdict, before.verdict, after.reason));
  std::set<std::string> there;
  for (const DigestedMeasure& one : after.measures) {
    if (one.verdict.empty()) continue;
    there.insert(one.key);
    const auto band = before.measures.find(one.key);
    if (band == before.measures.end() || band->second.verdict.empty())
      found.verdicts.push_back(fmt::format("{} is a limit now: {}", one.key, one.verdict));
    else if (band->second.verdict != "*" && band->second.verdict != one.verdict)
      found.verdicts.push_back(
          fmt::format("{} is {}, was {}", one.key, one.verdict, band->second.verdict));
  }
  for (const auto& [key, band] : before.measures)
    if (!band.verdict.empty() && !there.contains(key))
      found.verdicts.push_back(fmt::format("{} is no limit any more", key));
}

void compare_measures(const Baseline& before, const RunDigest& after, Comparison& found) {
  for (const DigestedMeasure& one : after.measures) {
    const auto was = before.measures.find(one.key);
    if (was == before.measures.end()) continue;  // a limit: said there; an overview's row: newer
    const Band& band = was->second;
    // Sometimes measured, sometimes not: no band.
    if (band.seen != 0 && band.seen != before.runs) continue;
    if ((band.seen > 0) != one.value.has_value()) {
      found.measures.push_back(
          {first_of_all, one.value ? fmt::format("{}: {}, could not be measured before", one.key,
                                                 shown(*one.value, one.unit))
                                   : fmt::format("{} cannot be measured any more, was {}", one.key,
                                                 shown(band.mean, one.unit))});
    } else if (one.value && std::fabs(*one.value - band.mean) > band.half_width) {
      found.measures.push_back(moved(one.key, *one.value, band, found.by_bands));
    }
  }
}

void compare_events(const Baseline& before, const RunDigest& after, Comparison& found) {
  const auto note = [&](bool reaction, std::string text) {
    if (reaction)
      found.reactions.push_back(std::move(text));
    else
      found.events.push_back({first_of_all, std::move(text)});
  };
  std::set<std::string> there;
  for (const DigestedEvent& one : after.events) {
    there.insert(one.key);
    const auto was = before.events.find(one.key);
    if (was == before.events.end())
      note(one.counts(), fmt::format("new: {} at {}", one.key, quantity_text(one.at_s, "s")));
    else if (std::fabs(one.after_s - was->second.mean) > was->second.half_width)
      found.events.push_back(moved(one.since.empty() ? one.key : one.key + " after " + one.since,
                                   one.after_s, was->second, found.by_bands));
  }
  for (const auto& [key, band] : before.events)
    if (band.seen == before.runs && !there.contains(key))
      note(band.verdict == counting,
           fmt::format("gone: {}, was {} after its cause", key, quantity_text(band.mean, "s")));
}

void largest_first(std::vector<Change>& changes) {
  std::stable_sort(changes.begin(), changes.end(),
                   [](const Change& a, const Change& b) { return a.size > b.size; });
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text.empty() ? "nothing" : text;
}

void say_what_was_set(const RunDigest& before, const RunDigest& after, Comparison& found) {
  auto& list = found.set_otherwise;
  if (before.firmware_sha256 != after.firmware_sha256)
    list.push_back(fmt::format("firmware {:.12} in place of {:.12}", after.firmware_sha256,
                               before.firmware_sha256));
  if (before.overrides != after.overrides)
    list.push_back(fmt::format("set by hand: {}; before: {}", joined(after.overrides),
                               joined(before.overrides)));
  if (before.seed != after.seed)
    list.push_back(fmt::format("seed {} in place of {}", after.seed, before.seed));
  if (before.overrides == after.overrides && before.bench_lines != after.bench_lines)
    for (std::size_t k = 0; k < std::min(before.bench_lines.size(), after.bench_lines.size()); ++k)
      if (before.bench_lines[k] != after.bench_lines[k])
        list.push_back(fmt::format("in the bench: \"{}\" in place of \"{}\"", after.bench_lines[k],
                                   before.bench_lines[k]));
}

Comparison compare_with(const Baseline& before, const RunDigest& after, bool by_bands) {
  Comparison found;
  found.by_bands = by_bands;
  compare_verdicts(before, after, found);
  compare_measures(before, after, found);
  compare_events(before, after, found);
  largest_first(found.measures);
  largest_first(found.events);
  return found;
}

void print(std::string& text, const char* title, const std::vector<std::string>& lines,
           std::size_t most) {
  if (lines.empty()) return;
  text += fmt::format("\n{}\n", title);
  for (std::size_t k = 0; k < std::min(most, lines.size()); ++k)
    text += fmt::format("  {}\n", lines[k]);
  if (lines.size() > most) text += fmt::format("  and {} more\n", lines.size() - most);
}

std::vector<std::string> texts(const std::vector<Change>& changes) {
  std::vector<std::string> lines;
  for (const Change& one : changes) lines.push_back(one.text);
  return lines;
}

}  // namespace

Comparison compare(const RunDigest& before, const RunDigest& after) {
  Comparison found = compare_with(exactly(before), after, false);
  say_what_was_set(before, after, found);
  found.signals = different_signals(before, after);
  found.grounds =
      "No repeats were given, so no band is known: compared exactly, digit by digit. What differs "
      "may be no more than another seed makes.";
  return found;
}

Comparison compare(const RunDigest& before, const RunDigest& after, const Baseline& repeats) {
  Comparison found = compare_with(repeats, after, true);
  say_what_was_set(before, after, found);
  found.signals = different_signals(before, after);
  found.grounds = fmt::format(
      "Bands from {} runs, the first and its repeats; signals have none and do not decide whether "
      "anything differs.",
      repeats.runs);
  return found;
}

Comparison compare(const Baseline& baseline, const RunDigest& run) {
  Comparison found = compare_with(baseline, run, true);
  const auto& known = baseline.firmware_sha256;
  if (!run.firmware_sha256.empty() &&
      std::find(known.begin(), known.end(), run.firmware_sha256) == known.end())
    found.set_otherwise.push_back(
        fmt::format("firmware {:.12}, which the baseline does not know", run.firmware_sha256));
  if (!run.overrides.empty())
    found.set_otherwise.push_back("set by hand: " + joined(run.overrides));
  found.grounds = fmt::format(
      "Bands from the baseline's {} runs; it holds no signals, so these were not compared.",
      baseline.runs);
  return found;
}

std::string comparison_text(const Comparison& found) {
  constexpr std::size_t few = 6, some = 12;
  std::string text = found.same() ? "The same.\n" : "Different.\n";
  print(text, "Set otherwise", found.set_otherwise, few);
  print(text, "Verdicts", found.verdicts, some);
  print(text, "Faults and protection", found.reactions, some);
  print(text, found.by_bands ? "Measures, most bands first" : "Measures, largest share first",
        texts(found.measures), some);
  print(text, "Events", texts(found.events), few);
  print(text, "Signals, largest share of their size first", texts(found.signals), few);
  return text + "\n" + found.grounds + "\n";
}

}  // namespace stillrotor
