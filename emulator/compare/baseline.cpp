#include "emulator/compare/baseline.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <stdexcept>

#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::json;  // keys in alphabetical order

constexpr double outside = 1e-3;       // of such runs lie beyond the band
constexpr double resolution = 1e-6;    // of a value with seven digits
constexpr double least_time_s = 1e-9;  // of events: a record's picoseconds, rounded

/// In whatever order the values come: sorted, since sums are not the same in another order.
Band band_of(std::vector<double> values, double least) {
  Band band;
  band.seen = values.size();
  if (values.empty()) return band;
  std::sort(values.begin(), values.end());
  const auto count = static_cast<double>(values.size());
  for (const double value : values) band.mean += value / count;
  double squares = 0.0;
  for (const double value : values) squares += (value - band.mean) * (value - band.mean);
  if (values.size() > 1) {
    const boost::math::students_t student(count - 1.0);
    const double t = boost::math::quantile(boost::math::complement(student, outside / 2.0));
    band.half_width = t * std::sqrt(squares / (count - 1.0)) * std::sqrt(1.0 + 1.0 / count);
  }
  band.half_width = std::max({band.half_width, least, resolution * std::fabs(band.mean)});
  return band;
}

double rounded(double value) { return std::stod(number_text(value, 9)); }

Json json_of(const Band& band) {
  Json json{{"seen", band.seen}, {"mean", rounded(band.mean)}, {"band", rounded(band.half_width)}};
  if (!band.unit.empty()) json["unit"] = band.unit;
  if (!band.verdict.empty()) json["verdict"] = band.verdict;
  return json;
}

Band band_from(const Json& json) {
  Band band;
  band.seen = json.at("seen");
  band.mean = json.at("mean");
  band.half_width = json.at("band");
  band.unit = json.value("unit", "");
  band.verdict = json.value("verdict", "");
  if (!(band.half_width >= 0.0)) throw std::runtime_error("a band is negative");
  return band;
}

void agree(std::string& all, const std::string& one, bool first) {
  if (first)
    all = one;
  else if (all != one)
    all = "*";
}

}  // namespace

double Band::bands_from(double value) const noexcept {
  const double off = std::fabs(value - mean);
  return half_width > 0.0 ? off / half_width : off > 0.0 ? HUGE_VAL : 0.0;
}

Baseline baseline_of(const std::vector<RunDigest>& runs) {
  if (runs.size() < fewest_repeats)
    throw std::invalid_argument(
        fmt::format("{} runs; a spread needs at least {}. Run the scenario again with other seeds.",
                    runs.size(), fewest_repeats));
  std::set<std::filesystem::path> folders;
  std::set<std::string> firmware;
  Baseline all;
  all.runs = runs.size();
  std::map<std::string, std::vector<double>> values, times;
  for (const RunDigest& run : runs) {
    if (!folders.insert(std::filesystem::weakly_canonical(run.folder)).second)
      throw std::invalid_argument(
          fmt::format("{} is named twice. Name each run once.", run.folder.string()));
    if (!run.judged())
      throw std::invalid_argument(fmt::format("{} is {}: {} Nothing can be accepted from it.",
                                              run.folder.string(), run.verdict, run.reason));
    if (const std::string why = not_comparable(runs.front(), run); !why.empty())
      throw std::invalid_argument(fmt::format("{} and {} cannot be held together: {}.",
                                              runs.front().folder.string(), run.folder.string(),
                                              why));
    const bool first = &run == &runs.front();
    agree(all.verdict, run.verdict, first);
    all.seeds.push_back(run.seed);
    if (!run.firmware_sha256.empty()) firmware.insert(run.firmware_sha256);
    for (const DigestedMeasure& one : run.measures) {
      const bool is_new = !all.measures.contains(one.key);
      Band& band = all.measures[one.key];
      band.unit = one.unit;
      agree(band.verdict, one.verdict, is_new);
      auto& list = values[one.key];
      if (one.value) list.push_back(*one.value);
    }
    for (const DigestedEvent& one : run.events) {
      times[one.key].push_back(one.after_s);
      all.events[one.key].verdict = one.counts() ? counting : "";
    }
  }
  all.bench = runs.front().bench;
  all.scenario = runs.front().scenario;
  all.clock = runs.front().clock;
  all.scenario_lines = runs.front().scenario_lines;
  all.firmware_sha256.assign(firmware.begin(), firmware.end());
  std::sort(all.seeds.begin(), all.seeds.end());
  for (auto& [key, band] : all.measures) {
    const Band found = band_of(values[key], 0.0);
    band.mean = found.mean;
    band.half_width = found.half_width;
    band.seen = found.seen;
  }
  for (const auto& [key, list] : times) {
    Band found = band_of(list, least_time_s);
    found.unit = "s";
    found.verdict = all.events[key].verdict;
    all.events[key] = found;
  }
  return all;
}

std::string baseline_text(const Baseline& baseline) {
  Json json{{"format", 1},
            {"bench", baseline.bench},
            {"scenario", baseline.scenario},
            {"scenario_lines", baseline.scenario_lines},
            {"clock", baseline.clock},
            {"verdict", baseline.verdict},
            {"runs", baseline.runs},
            {"seeds", baseline.seeds},
            {"firmware_sha256", baseline.firmware_sha256},
            {"measures", Json::object()},
            {"events", Json::object()}};
  for (const auto& [key, band] : baseline.measures) json["measures"][key] = json_of(band);
  for (const auto& [key, band] : baseline.events) json["events"][key] = json_of(band);
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Baseline read_baseline(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in)
    throw std::runtime_error(fmt::format(
        "{}: there is no such baseline. Make it: stillrotor baseline accept RUN... --out {}",
        file.string(), file.string()));
  const auto refuse = [&file](const std::string& why) {
    throw std::runtime_error(
        fmt::format("{}: is no baseline: {}. Accept the runs again.", file.string(), why));
  };
  const Json json = Json::parse(in, nullptr, false);
  if (!json.is_object()) refuse("it is no JSON object");
  Baseline baseline;
  try {
    if (const int format = json.at("format"); format != 1)
      refuse(fmt::format("format {}, this program reads 1", format));
    baseline.bench = json.at("bench");
    baseline.scenario = json.at("scenario");
    baseline.clock = json.at("clock");
    baseline.verdict = json.at("verdict");
    baseline.runs = json.at("runs");
    baseline.scenario_lines = json.at("scenario_lines").get<std::vector<std::string>>();
    baseline.seeds = json.at("seeds").get<std::vector<std::uint64_t>>();
    baseline.firmware_sha256 = json.at("firmware_sha256").get<std::vector<std::string>>();
    for (const auto& [key, band] : json.at("measures").items())
      baseline.measures[key] = band_from(band);
    for (const auto& [key, band] : json.at("events").items())
      baseline.events[key] = band_from(band);
  } catch (const Json::exception& error) {
    refuse(error.what());
  }
  return baseline;
}

std::string not_comparable(const Baseline& baseline, const RunDigest& run) {
  RunDigest like;
  like.bench = baseline.bench;
  like.scenario = baseline.scenario;
  like.clock = baseline.clock;
  like.scenario_lines = baseline.scenario_lines;
  return not_comparable(like, run);
}

}  // namespace stillrotor
