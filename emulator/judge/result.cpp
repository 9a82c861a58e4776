#include "emulator/judge/result.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::ordered_json;

/// Rounded to the digits that a float32 record can carry; null where there is no number.
Json number(double value, int digits = 7) {
  if (!std::isfinite(value)) return nullptr;
  const std::string text = number_text(value, digits);
  double rounded = 0.0;
  std::from_chars(text.data(), text.data() + text.size(), rounded);
  return rounded;
}
Json optional_number(const std::optional<double>& value) {
  return value ? number(*value, 15) : Json(nullptr);
}
Json seconds(std::int64_t ps) { return number(static_cast<double>(ps) * 1e-12, 12); }

/// Value, unit and uncertainty; null and why, where it could not be measured.
void add_measured(Json& to, const Measurement& measured, std::string_view unit) {
  const bool defined = measured.undefined.empty();
  to["value"] = defined ? number(measured.value) : Json(nullptr);
  to["unit"] = unit;
  to["uncertainty"] = defined ? number(measured.uncertainty, 3) : Json(nullptr);
  if (measured.at_least) to["at_least"] = true;
  if (!defined) to["undefined"] = measured.undefined;
}

Json limit_json(const JudgedLimit& judged) {
  Json json;
  json["name"] = judged.limit.measure;
  if (!judged.limit.signal.empty()) json["phase"] = judged.limit.signal;
  if (!judged.limit.argument.empty()) {
    const MeasureRow* row = find_measure(judged.limit.measure);
    const Asks asks = row != nullptr ? row->info.asks : Asks::pattern;
    json[asks == Asks::harmonic ? "harmonic"
         : asks == Asks::blinks ? "blinks_s"
                                : "pattern"] = judged.limit.argument;
  }
  add_measured(json, judged.measured, judged.unit);
  json["window_s"] = {number(judged.measured.from_s, 12), number(judged.measured.to_s, 12)};
  const Window& window = judged.limit.window;
  for (const auto& [key, event] :
       {std::pair{"after", &window.after}, {"until", &window.until}, {"before", &window.before}})
    if (!event->empty()) json[key] = *event;
  json["min"] = optional_number(judged.limit.min);
  json["max"] = optional_number(judged.limit.max);
  json["verdict"] = name(judged.verdict);
  json["reason"] = judged.reason;
  json["because"] = judged.limit.because;
  const MeasureRow* row = find_measure(judged.limit.measure);
  json["source"] = row != nullptr ? row->info.source : std::string_view("own definition");
  return json;
}

std::vector<RecordedMark> in_order(const RecordReader& record) {
  auto marks = record.marks();
  std::stable_sort(marks.begin(), marks.end(),
                   [](const RecordedMark& a, const RecordedMark& b) { return a.at_ps < b.at_ps; });
  return marks;
}

/// An action by what the scenario asked for, an event by its name and detail.
std::string what(const RecordedMark& mark) {
  if (mark.detail.empty()) return mark.name;
  if (mark.kind == MarkKind::action) return mark.detail;
  return mark.name + ": " + mark.detail;
}

Json gaps_json(const std::vector<RecordedMark>& marks) {
  Json gaps = Json::array();
  for (const RecordedMark& mark : marks) {
    if (mark.kind != MarkKind::gap) continue;
    gaps.push_back({{"from_s", seconds(mark.at_ps)},
                    {"to_s", seconds(mark.to_ps)},
                    {"what", mark.name},
                    {"detail", mark.detail}});
  }
  return gaps;
}

Json not_tested_json(const Judgement& judgement, const std::vector<RecordedMark>& marks,
                     const std::vector<std::string>& possible_faults) {
  Json list = Json::array();
  for (const JudgedLimit& judged : judgement.limits) {
    if (judged.verdict == Verdict::INVALID) list.push_back("limit " + judged.reason);
  }
  std::string not_provoked;
  for (const std::string& fault : possible_faults) {
    const bool provoked = std::any_of(marks.begin(), marks.end(), [&](const RecordedMark& mark) {
      return mark.kind == MarkKind::fault && mark.name == fault;
    });
    if (!provoked) not_provoked += (not_provoked.empty() ? "" : ", ") + fault;
  }
  if (!not_provoked.empty()) list.push_back("faults that were not provoked: " + not_provoked);
  return list;
}

[[noreturn]] void refuse(const std::filesystem::path& file, const char* what_failed) {
  throw std::runtime_error(file.string() + ": " + what_failed + ": " + std::strerror(errno));
}

}  // namespace

std::string result_json(const RecordReader& record, const Judgement& judgement,
                        const ResultFacts& facts) {
  const auto marks = in_order(record);
  Json json;
  json["format"] = 1;
  json["bench"] = facts.bench;
  json["scenario"] = facts.scenario;
  json["clock"] = facts.clock;
  if (const auto& rehearsal = facts.rehearsal)
    json["rehearsal"] = {{"route", rehearsal->route},
                         {"imposed", rehearsal->imposed},
                         {"grounds", rehearsal->grounds}};
  json["verdict"] = name(judgement.verdict);
  json["reason"] = judgement.reason;
  json["integrity"] = {{"deadline_misses", facts.integrity.deadline_misses},
                       {"lost_edges", facts.integrity.lost_edges},
                       {"late_writes", facts.integrity.late_writes},
                       {"gaps", gaps_json(marks)}};
  json["overrides"] = facts.overrides;
  json["seeds"] = facts.seeds;
  json["measures"] = Json::array();
  for (const JudgedLimit& judged : judgement.limits) json["measures"].push_back(limit_json(judged));
  json["overview"] = Json::array();
  for (const auto& [info, measured] : judgement.overview) {
    Json row{{"name", info->name}};
    add_measured(row, measured, info->unit);
    json["overview"].push_back(row);
  }
  json["faults"] = Json::array();
  json["events"] = Json::array();
  for (const RecordedMark& mark : marks) {
    if (mark.kind == MarkKind::fault) {
      json["faults"].push_back(
          {{"name", mark.name}, {"at_s", seconds(mark.at_ps)}, {"detail", mark.detail}});
    } else if (mark.kind == MarkKind::action || mark.kind == MarkKind::event) {
      json["events"].push_back({{"t_s", seconds(mark.at_ps)}, {"what", what(mark)}});
    }
  }
  json["not_tested"] = not_tested_json(judgement, marks, facts.possible_faults);
  if (!facts.replay_trust.empty()) json["replay_trust"] = facts.replay_trust;
  if (!facts.settings.empty()) {
    json["settings"] = Json::array();
    for (const io::Setting& one : facts.settings)
      json["settings"].push_back({{"name", one.name},
                                  {"value", number(one.value)},
                                  {"unit", one.unit},
                                  {"by", one.written ? "bench" : "firmware"}});
    json["settings_sha256"] = facts.settings_sha256;
  }
  json["firmware_sha256"] = facts.firmware_sha256;
  json["signals_xxh128"] = facts.signals_xxh128;
  json["software"] = {{"version", facts.software_version}, {"commit", facts.software_commit}};
  // What a controller sends may be no UTF-8.
  return json.dump(2, ' ', false, Json::error_handler_t::replace);
}

std::string settings_text(const std::vector<io::Setting>& settings) {
  std::string text;
  for (const io::Setting& one : settings)
    text += one.name + " = " + number_text(one.value, 9) + (one.unit.empty() ? "" : " ") +
            one.unit + "\n";
  return text;
}

void write_result(const std::filesystem::path& folder, const std::string& text) {
  const std::filesystem::path file = folder / "result.json",
                              temporary = folder / ".result.json.part";
  const int fd = ::open(temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd < 0) refuse(file, "cannot be created");
  const std::string line = text + '\n';
  std::size_t done = 0;
  bool good = true;
  while (good && done < line.size()) {
    const ssize_t written = ::write(fd, line.data() + done, line.size() - done);
    if (written > 0) done += static_cast<std::size_t>(written);
    good = written > 0 || errno == EINTR;
  }
  good = good && ::fsync(fd) == 0;
  const int error = errno;
  good = ::close(fd) == 0 && good;
  if (!good) {
    ::unlink(temporary.c_str());
    errno = error;
    refuse(file, "cannot be written");
  }
  if (std::rename(temporary.c_str(), file.c_str()) != 0) refuse(file, "cannot be put in place");
}

}  // namespace stillrotor
