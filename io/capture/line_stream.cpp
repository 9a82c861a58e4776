#include "io/capture/line_stream.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <sstream>

namespace stillrotor::io {
namespace {

constexpr double start_limit_s = 9e6;  // 104 days, inside int64 picoseconds
constexpr std::size_t names_shown = 12;

std::string seconds(Time t) {
  std::ostringstream text;
  text << static_cast<double>(t.count()) * 1e-12 << " s";
  return text.str();
}

/// Edit distance (Levenshtein), for "did you mean".
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t substituted = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, substituted});
    }
  }
  return row.back();
}

std::string nearest_names(const std::vector<VcdVariable>& variables, const std::string& wanted) {
  if (variables.empty()) return "The recording declares no signal.";
  const auto far = [&](const VcdVariable& v) {
    return std::min(distance(v.name, wanted), distance(v.path, wanted));
  };
  const auto nearest = std::min_element(variables.begin(), variables.end(),
                                        [&](auto& a, auto& b) { return far(a) < far(b); });
  std::string text = "Nearest: " + nearest->path + ". It has: ";
  for (std::size_t k = 0; k < std::min(variables.size(), names_shown); ++k)
    text += (k ? ", " : "") + variables[k].path;
  if (variables.size() > names_shown)
    text += " and " + std::to_string(variables.size() - names_shown) + " more";
  return text + ".";
}

}  // namespace

LineStream::LineStream(const CaptureConfig& config) : reader_(config.file, "controller.file") {
  if (!(config.start_s >= 0.0 && config.start_s <= start_limit_s))
    throw ConfigError("controller.start",
                      "start is " + std::to_string(config.start_s) +
                          " s; allowed 0 s to the length of the recording. Count it from the "
                          "recording's first time stamp.");
  start_ = Time(std::llround(config.start_s * 1e12));
  level_.fill(Level::released);
  told_ = level_;
  find_signals(config);
}

void LineStream::find_signals(const CaptureConfig& config) {
  const auto& variables = reader_.variables();
  for (std::size_t k = 0; k < line_count; ++k) {
    const LineId line{static_cast<std::uint16_t>(k)};
    const std::string& wanted = config.signals[k];
    const std::string parameter = "controller.signals." + std::string(name(line));
    const auto refuse = [&](const std::string& what, const std::string& remedy) {
      throw ConfigError(parameter, config.file.string() + ": " + what + ". " + remedy);
    };
    if (wanted.empty()) {
      if (is_gate(line))
        refuse(
            "no signal is named for " + std::string(name(line)) + "; a replay needs all six gates",
            nearest_names(variables, std::string(name(line))));
      continue;
    }
    const VcdVariable* found = nullptr;
    for (const auto& variable : variables) {
      if (variable.path != wanted && variable.name != wanted) continue;
      if (found && found->code != variable.code)
        refuse("'" + wanted + "' is the name of more than one signal",
               "Write which: " + found->path + " or " + variable.path + ".");
      if (!found) found = &variable;
    }
    if (!found) refuse("there is no signal '" + wanted + "'", nearest_names(variables, wanted));
    if (found->real || found->width != 1)
      refuse("signal '" + wanted + "' is " +
                 (found->real ? "no logic signal" : std::to_string(found->width) + " bits wide") +
                 "; allowed a signal of one bit",
             "Name a single line, or export the bus bit by bit.");
    if (found->code >= lines_of_.size()) lines_of_.resize(found->code + 1);
    lines_of_[found->code].push_back(line);
  }
}

Time LineStream::from_start() const noexcept {
  return reader_.timed() ? reader_.time() - reader_.first_time() - start_ : Time{};
}

Time LineStream::length() const noexcept { return from_start(); }

void LineStream::gather() {
  pending_.clear();
  taken_ = 0;
  Time at{};
  for (bool first = true;; first = false) {
    if (!has_ahead_) {
      if (!reader_.next(ahead_)) {
        finished_ = true;
        if (from_start() <= Time{})
          throw ConfigError("controller.start",
                            "start is " + seconds(start_) + "; the recording lasts " +
                                seconds(from_start() + start_) +
                                ", so nothing is left to replay. Choose an earlier start, or a "
                                "longer recording.");
        break;
      }
      ahead_at_ = std::max(Time{}, from_start());
      has_ahead_ = true;
    }
    if (first) at = ahead_at_;
    if (ahead_at_ != at) break;
    has_ahead_ = false;
    if (ahead_.code >= lines_of_.size()) continue;
    for (const LineId line : lines_of_[ahead_.code]) {
      if (ahead_.value == VcdValue::unknown)
        ++unknown_;
      else
        level_[index(line)] = ahead_.value == VcdValue::one    ? Level::high
                              : ahead_.value == VcdValue::zero ? Level::low
                                                               : Level::released;
    }
  }
  for (std::size_t k = 0; k < line_count; ++k)
    if (level_[k] != told_[k])
      pending_.push_back({at, LineId{static_cast<std::uint16_t>(k)}, told_[k] = level_[k]});
}

bool LineStream::next(Edge& edge) {
  while (taken_ == pending_.size()) {
    if (finished_) return false;
    gather();
  }
  edge = pending_[taken_++];
  return true;
}

}  // namespace stillrotor::io
