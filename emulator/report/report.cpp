#include "emulator/report/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <iterator>
#include <kainjow/mustache.hpp>
#include <nlohmann/json.hpp>
#include <optional>
#include <stdexcept>
#include <vector>

#include "emulator/judge/wording.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/report/views.hpp"
#include "page_text.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;
using kainjow::mustache::data;

std::string text_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// nullopt: there is none.
std::optional<Json> document(const fs::path& file) {
  if (!fs::exists(file)) return std::nullopt;
  try {
    return Json::parse(text_of(file));
  } catch (const Json::exception&) {
    throw std::runtime_error(file.string() + " is damaged: it is no JSON. Run it again.");
  }
}

std::string words(const Json& value) {
  return value.is_string() ? value.get<std::string>() : value.is_null() ? "" : value.dump();
}

std::string quantity(const Json& value, const std::string& unit, int digits = 5) {
  return value.is_number() ? quantity_text(value.get<double>(), unit, digits) : "";
}

data row(std::initializer_list<std::pair<const char*, std::string>> cells) {
  data out{data::type::object};
  for (const auto& [name, text] : cells) out.set(name, data{text});
  return out;
}

std::string measured(const Json& measure) {
  const std::string unit = words(measure.at("unit"));
  if (!measure.at("value").is_number())
    return "not defined: " + words(measure.value("undefined", Json("")));
  const std::string value = quantity(measure.at("value"), unit);
  const std::string plus_minus = quantity(measure.at("uncertainty"), unit, 2);
  return (measure.contains("at_least") ? "at least " : "") + value +
         (plus_minus.empty() ? "" : " ± " + plus_minus);
}

std::string allowed(const Json& limit) {
  const std::string unit = words(limit.at("unit"));
  std::string out;
  if (limit.at("min").is_number()) out = "at least " + quantity(limit.at("min"), unit);
  if (limit.at("max").is_number())
    out += (out.empty() ? "at most " : ", at most ") + quantity(limit.at("max"), unit);
  return out;
}

data limits(const Json& result) {
  data out{data::type::list};
  for (const Json& limit : result.at("measures")) {
    const Json& window = limit.at("window_s");
    std::string name = words(limit.at("name"));
    if (limit.contains("phase")) name += " " + words(limit.at("phase"));
    out << row({{"verdict", words(limit.at("verdict"))},
                {"name", name},
                {"measured", measured(limit)},
                {"allowed", allowed(limit)},
                {"window", quantity(window.at(0), "s") + " to " + quantity(window.at(1), "s")},
                {"reason", words(limit.at("reason"))},
                {"because", words(limit.at("because"))},
                {"source", words(limit.at("source"))}});
  }
  return out;
}

data overview(const Json& result) {
  data out{data::type::list};
  for (const Json& measure : result.at("overview"))
    out << row({{"name", words(measure.at("name"))}, {"measured", measured(measure)}});
  return out;
}

data sentences(const Json& list) {
  data out{data::type::list};
  for (const Json& one : list) out << row({{"text", words(one)}});
  return out;
}

data gaps(const Json& result) {
  constexpr std::size_t most = 50;
  data out{data::type::list};
  const Json& all = result.at("integrity").at("gaps");
  for (std::size_t k = 0; k < all.size() && k < most; ++k)
    out << row({{"from", quantity(all[k].at("from_s"), "s")},
                {"to", quantity(all[k].at("to_s"), "s")},
                {"what", words(all[k].at("what")) + " " + words(all[k].at("detail"))}});
  if (all.size() > most)
    out << row({{"from", ""},
                {"to", ""},
                {"what", fmt::format("and {} more, all in result.json", all.size() - most)}});
  return out;
}

data timeline(const RecordReader& record) {
  constexpr std::size_t most = 300;
  data out{data::type::list};
  std::size_t count = 0;
  for (const RecordedMark& mark : record.marks()) {
    if (mark.kind == MarkKind::gap) continue;
    if (++count > most) {
      out << row({{"at", ""}, {"kind", ""}, {"what", "and more, all in record.h5"}});
      break;
    }
    constexpr const char* kinds[] = {"asked", "fault", "happened", "said"};
    const auto kind = static_cast<std::size_t>(mark.kind);
    out << row({{"at", quantity_text(static_cast<double>(mark.at_ps) * 1e-12, "s", 7)},
                {"kind", kind < std::size(kinds) ? kinds[kind] : ""},
                {"what", mark.detail.empty() ? mark.name : mark.name + ": " + mark.detail}});
  }
  return out;
}

/// The loop's own times, of a run on the wall clock.
data cycle(const Json& cycle) {
  data out{data::type::object};
  out.set("period", data{quantity_text(cycle.at("period_us").get<double>() * 1e-6, "s", 4)});
  for (const char* count : {"turns", "missed_periods", "late_writes"})
    out.set(count, data{words(cycle.at(count))});
  out.set("soft", data{cycle.at("soft").get<bool>()});
  data times{data::type::list};
  for (const auto& [key, name] : {std::pair("wake_late_us", "woke late by"),
                                  {"read_us", "read"},
                                  {"plant_us", "plant"},
                                  {"write_us", "write"},
                                  {"turn_us", "whole turn"}}) {
    data line{data::type::object};
    line.set("name", data{std::string(name)});
    for (const char* share : {"p50", "p99", "p99_9", "p99_99", "max"})
      line.set(share, data{fmt::format("{:.1f}", cycle.at(key).at(share).get<double>())});
    times << line;
  }
  out.set("times", times);
  return out;
}

/// What the firmware asked of a simulated processor that counts.
data processor(const Json& work) {
  data out{data::type::object};
  const double all = work.at("cycles").get<double>();
  const auto share = [&](const Json& of) {
    return all > 0.0 ? fmt::format("{:.1f} %", 100.0 * of.get<double>() / all) : std::string("–");
  };
  out.set("in_handlers", data{share(work.at("in_handlers"))});
  out.set("asleep", data{share(work.at("asleep"))});
  data interrupts{data::type::list};
  for (const Json& one : work.at("interrupts")) {
    const Json& cycles = one.at("cycles");
    interrupts << row({{"exception", words(one.at("exception"))},
                       {"handler", words(one.at("handler"))},
                       {"count", words(one.at("count"))},
                       {"least", words(cycles.at("least"))},
                       {"mean", fmt::format("{:.1f}", cycles.at("mean").get<double>())},
                       {"most", words(cycles.at("most"))},
                       {"share", share(cycles.at("sum"))}});
  }
  out.set("interrupts", interrupts);
  const Json& stack = work.at("main_stack_bytes");
  for (const char* bound : {"seen", "written", "room"})
    out.set(bound, data{words(stack.at(bound))});
  return out;
}

/// How a verdict reads beside its colour: nobody has to see that.
std::string sign_of(const std::string& verdict) {
  if (verdict == "PASS") return "✓";
  if (verdict == "FAIL") return "✗";
  if (verdict == "INVALID") return "?";
  return "–";
}

void add_result(data& page, const Json& result) {
  const std::string verdict = words(result.at("verdict"));
  page.set("verdict", data{verdict});
  page.set("sign", data{sign_of(verdict)});
  page.set("reason", data{words(result.at("reason"))});
  page.set("limits", limits(result));
  page.set("overview", overview(result));
  page.set("gaps", gaps(result));
  page.set("not_tested", sentences(result.at("not_tested")));
  page.set("overrides", sentences(result.at("overrides")));
  const Json& integrity = result.at("integrity");
  for (const char* count : {"deadline_misses", "lost_edges", "late_writes"})
    page.set(count, data{words(integrity.at(count))});
  page.set("gap_count", data{std::to_string(integrity.at("gaps").size())});
  if (result.contains("signals_xxh128"))  // else of a version that summed up otherwise
    page.set("signals_xxh128", data{words(result.at("signals_xxh128"))});
  if (const std::string sum = words(result.at("firmware_sha256")); !sum.empty())
    page.set("firmware_sha256", data{sum});
  page.set("software", data{words(result.at("software").at("version")) + " (" +
                            words(result.at("software").at("commit")) + ")"});
  if (result.contains("replay_trust"))
    page.set("replay_trust", data{words(result.at("replay_trust"))});
  if (result.contains("rehearsal")) {
    const Json& rehearsal = result.at("rehearsal");
    page.set("rehearsal",
             data{words(rehearsal.at("route")) + ": " + words(rehearsal.at("imposed"))});
  }
}

std::vector<Broken> broken(const Json& result) {
  std::vector<Broken> out;
  for (const Json& limit : result.at("measures"))
    if (limit.at("verdict") == "FAIL" && limit.at("value").is_number())
      out.push_back(
          {words(limit.at("name")),
           {limit.at("window_s").at(0).get<double>(), limit.at("window_s").at(1).get<double>()}});
  return out;
}

data group(const char* title, const std::vector<std::string>& lines) {
  constexpr std::size_t most = 20;
  data list{data::type::list};
  for (std::size_t k = 0; k < std::min(most, lines.size()); ++k) list << row({{"text", lines[k]}});
  if (lines.size() > most) list << row({{"text", fmt::format("and {} more", lines.size() - most)}});
  data out{data::type::object};
  out.set("title", data{std::string(title)});
  out.set("lines", list);
  return out;
}

data against_data(const RecordReader& record, const Against& against) {
  const Comparison& found = against.comparison;
  const auto texts = [](const std::vector<Change>& changes) {
    std::vector<std::string> lines;
    for (const Change& change : changes) lines.push_back(change.text);
    return lines;
  };
  data groups{data::type::list};
  const auto add = [&](const char* title, const std::vector<std::string>& lines) {
    if (!lines.empty()) groups << group(title, lines);
  };
  add("Set otherwise", found.set_otherwise);
  add("Verdicts", found.verdicts);
  add("Faults and protection", found.reactions);
  add(found.by_bands ? "Measures, most bands first" : "Measures, largest share first",
      texts(found.measures));
  add("Events", texts(found.events));
  add("Signals, largest share of their size first", texts(found.signals));
  data out{data::type::object};
  out.set("name", data{against.name});
  out.set("answer", data{std::string(found.same() ? "the same" : "different")});
  out.set("groups", groups);
  out.set("grounds", data{found.grounds});
  if (against.run_folder)
    out.set("charts", data{charts_beside(record, RecordReader(*against.run_folder), against.name)});
  return out;
}

void add_drawings(data& page, const RecordReader& record, const std::vector<Broken>& broken,
                  const std::vector<FirmwareSignal>& firmware) {
  data close{data::type::list};
  double at_s = record.end_s();
  for (const View& view : close_views(record, broken)) {
    if (at_s == record.end_s()) at_s = view.span.from_s + 0.25 * view.span.seconds();
    close << row({{"title", view.title},
                  {"charts", time_charts(record, view) + firmware_charts(record, firmware, view)},
                  {"closer", time_charts(record, closer(view), true)}});
  }
  page.set("close", close);
  page.set("whole", data{time_charts(record, whole_run(record)) +
                         firmware_charts(record, firmware, whole_run(record))});
  page.set("gates", data{gate_chart(record, at_s)});
  page.set("spectra", data{spectra(record)});
  page.set("dq", data{dq_chart(record)});
}

}  // namespace

std::string report_html(const fs::path& folder, const std::optional<Against>& against) {
  const RecordReader record(folder);
  data page{data::type::object};
  page.set("style", data{std::string(page_style)});
  page.set("bench", data{record.bench()});
  page.set("scenario", data{record.scenario()});
  page.set("clock", data{record.clock() == "wall" ? std::string("on the wall clock")
                                                  : std::string("in virtual time")});
  page.set("length", data{quantity_text(record.end_s(), "s", 6)});
  std::vector<Broken> broken_limits;
  if (const auto result = document(folder / "result.json")) {
    page.set("judged", data{true});
    add_result(page, *result);
    broken_limits = broken(*result);
  } else {
    page.set("verdict", data{std::string("NONE")});
    page.set("sign", data{sign_of("NONE")});
    page.set("reason",
             data{std::string(record.finished() ? "There is no verdict in this folder."
                                                : "The run was cut short: there is no verdict.")});
  }
  if (const auto run = document(folder / "run.json")) {
    page.set("started", data{words(run->at("started"))});
    page.set("host",
             data{words(run->at("host").at("cpu")) + ", " + words(run->at("host").at("kernel"))});
    const std::string health = words(run->at("controller").at("health"));
    if (health != "running")
      page.set("controller", data{health + ": " + words(run->at("controller").at("diagnosis"))});
    if (run->contains("cycle")) page.set("cycle", cycle(run->at("cycle")));
    if (run->contains("processor")) page.set("processor", processor(run->at("processor")));
  }
  page.set("timeline", timeline(record));
  page.set("bench_yaml", data{text_of(folder / "bench.yaml")});
  page.set("scenario_yaml", data{text_of(folder / "scenario.yaml")});
  if (against) page.set("against", against_data(record, *against));
  add_drawings(page, record, broken_limits, firmware_signals(folder));

  kainjow::mustache::mustache layout{page_template};
  if (!layout.is_valid())
    throw std::runtime_error("the page's template: " + layout.error_message());
  return layout.render(page);
}

}  // namespace stillrotor
