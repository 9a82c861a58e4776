#include "emulator/panel/request.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>
#include <nlohmann/json.hpp>

#include "emulator/bench/nearest.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::json;

/// A value as it was written, cut where it is long.
std::string shown(const Json& value) {
  std::string text = value.dump(-1, ' ', true, Json::error_handler_t::replace);
  if (text.size() > 60) text.replace(57, std::string::npos, "...");
  return text;
}

/// One object of a message; the first thing that is wrong with it stays.
class Part {
 public:
  Part(const Json& object, std::string name, std::string& problem)
      : object_(object), name_(std::move(name)), problem_(problem) {
    if (!object.is_object()) wrong("", shown(object), "an object");
  }

  void only(std::initializer_list<std::string_view> keys) {
    if (!object_.is_object()) return;
    for (const auto& [key, value] : object_.items())
      if (std::find(keys.begin(), keys.end(), key) == keys.end())
        say(fmt::format("{} has the unknown key {}; allowed: {}.", name_, shown(key),
                        fmt::join(keys, ", ")));
  }
  const Json* find(const char* key) const {
    if (!object_.is_object()) return nullptr;
    const auto it = object_.find(key);
    return it == object_.end() ? nullptr : &*it;
  }

  double number(const char* key, double least, double most, std::optional<double> preset = {}) {
    const Json* value = find(key);
    if (value == nullptr && preset) return *preset;
    const double got = value != nullptr && value->is_number() ? value->get<double>() : std::nan("");
    if (got >= least && got <= most) return got;
    wrong(key, value != nullptr ? shown(*value) : "missing",
          fmt::format("a number from {:.10g} to {:.10g}", least, most));
    return least;
  }
  std::uint32_t whole(const char* key, std::uint32_t least, std::uint32_t most,
                      std::optional<std::uint32_t> preset = {}) {
    const Json* value = find(key);
    if (value == nullptr && preset) return *preset;
    if (value != nullptr && value->is_number_unsigned()) {
      const auto got = value->get<std::uint64_t>();
      if (got >= least && got <= most) return static_cast<std::uint32_t>(got);
    }
    wrong(key, value != nullptr ? shown(*value) : "missing",
          fmt::format("a whole number from {} to {}", least, most));
    return least;
  }
  std::string text(const char* key, std::string_view preset) {
    const Json* value = find(key);
    if (value == nullptr || value->is_null()) return std::string(preset);
    if (value->is_string() && value->get_ref<const std::string&>().size() <= panel_limit::text)
      return value->get<std::string>();
    wrong(key, shown(*value), fmt::format("a text of at most {} bytes", panel_limit::text));
    return {};
  }
  bool yes(const char* key, bool preset) {
    const Json* value = find(key);
    if (value == nullptr) return preset;
    if (!value->is_boolean()) wrong(key, shown(*value), "true or false");
    return value->is_boolean() ? value->get<bool>() : preset;
  }
  /// The place of a word; 0 where it is wrong. preset: where it is not said.
  std::size_t word(const char* key, std::initializer_list<std::string_view> words,
                   std::optional<std::size_t> preset = {}) {
    const Json* value = find(key);
    if (value == nullptr && preset) return *preset;
    if (value != nullptr && value->is_string()) {
      const auto it = std::find(words.begin(), words.end(), value->get_ref<const std::string&>());
      if (it != words.end()) return static_cast<std::size_t>(it - words.begin());
    }
    wrong(key, value != nullptr ? shown(*value) : "missing",
          fmt::format("{}", fmt::join(words, ", ")));
    return 0;
  }

  /// name -> the one that bears it, by number.
  template <class Named>
  Named named(const char* key, const Json& value, const std::vector<std::string>& names,
              const std::vector<Named>& what) {
    if (value.is_string()) {
      const auto& said = value.get_ref<const std::string&>();
      const auto it = std::find(names.begin(), names.end(), said);
      if (it != names.end()) return what[static_cast<std::size_t>(it - names.begin())];
      wrong(key, shown(value), "what the welcome names." + suggestion(said.substr(0, 60), names),
            "");
    } else {
      wrong(key, shown(value), "a name out of the welcome");
    }
    return Named{};
  }
  template <class Named>
  std::vector<Named> list(const char* key, std::size_t most, const std::vector<std::string>& names,
                          const std::vector<Named>& what) {
    std::vector<Named> found;
    const Json* value = find(key);
    if (value == nullptr) return found;
    if (!value->is_array() || value->size() > most) {
      wrong(key, shown(*value), fmt::format("a list of at most {} names", most));
      return found;
    }
    for (const Json& one : *value) found.push_back(named(key, one, names, what));
    return found;
  }

  void wrong(std::string_view key, std::string_view is, std::string_view allowed,
             std::string_view stop = ".") {
    say(fmt::format("{}{}{} is {}; allowed: {}{}", name_, key.empty() ? "" : ".", key, is, allowed,
                    stop));
  }
  void say(std::string sentence) {
    if (problem_.empty()) problem_ = std::move(sentence);
  }

 private:
  const Json& object_;
  std::string name_;
  std::string& problem_;
};

struct Names {
  std::vector<std::string> signals, lines;
  std::vector<Signal> signal_ids;
  std::vector<std::uint16_t> line_ids;

  explicit Names(const std::vector<std::uint16_t>& present) : line_ids(present) {
    for (std::size_t k = 0; k < signal_count; ++k) {
      signals.emplace_back(signal_table[k].name);
      signal_ids.push_back(static_cast<Signal>(k));
    }
    for (const std::uint16_t line : present) lines.emplace_back(io::name(io::LineId{line}));
  }
};

Hello read_hello(const Json& json, std::string& problem) {
  Part part(json, "hello", problem);
  part.only({"protocol", "token", "client"});
  Hello hello;
  hello.protocol = static_cast<int>(part.whole("protocol", 0, 1'000'000));
  hello.token = part.text("token", "");
  hello.client = part.text("client", "");
  return hello;
}

std::optional<double> read_end(Part& part) {
  const Json* end = part.find("end_s");
  if (end == nullptr || end->is_null()) return {};
  return part.number("end_s", 0.0, 1e7);
}

ViewSpec read_view(const Json& json, const Names& names, std::string& problem) {
  using Kind = ViewSpec::Kind;
  Part part(json, "view", problem);
  ViewSpec view;
  view.id = static_cast<std::uint8_t>(part.whole("id", 0, panel_limit::views - 1));
  view.kind = static_cast<Kind>(part.word("kind", {"off", "scope", "samples", "stream"}));
  const auto signals = [&] {
    view.signals = part.list("signals", panel_limit::signals, names.signals, names.signal_ids);
    if (view.signals.empty() && view.kind != Kind::scope)
      part.wrong("signals", "empty", "at least one signal");
  };
  switch (view.kind) {
    case Kind::off:
      part.only({"id", "kind"});
      break;
    case Kind::scope:
      part.only({"id", "kind", "signals", "lines", "span_s", "end_s", "columns"});
      signals();
      view.lines = part.list("lines", panel_limit::lines, names.lines, names.line_ids);
      view.span_s = part.number("span_s", panel_limit::span_least_s, panel_limit::span_most_s);
      view.end_s = read_end(part);
      view.columns = part.whole("columns", 1, panel_limit::columns);
      break;
    case Kind::samples:
      part.only({"id", "kind", "signals", "count", "every_s", "end_s"});
      signals();
      view.count = part.whole("count", 16, panel_limit::samples);
      view.every_s = part.number("every_s", 0.1, 60.0, 0.5);
      view.end_s = read_end(part);
      break;
    case Kind::stream:
      part.only({"id", "kind", "signals"});
      signals();
      break;
  }
  return view;
}

TriggerSpec read_trigger(const Json& json, const Names& names, std::string& problem) {
  using On = TriggerSpec::On;
  Part part(json, "trigger", problem);
  part.only({"on", "signal", "level", "slope", "line", "name", "before", "single"});
  TriggerSpec spec;
  spec.on = static_cast<On>(part.word("on", {"off", "level", "edge", "fault", "event", "action"}));
  spec.slope = static_cast<TriggerSpec::Slope>(
      part.word("slope", {"either", "rising", "falling"}, std::size_t{0}));
  spec.name = part.text("name", "");
  spec.before = part.number("before", 0.0, 1.0, 0.25);
  spec.single = part.yes("single", true);
  const Json missing;
  const auto name_of = [&](const char* key) -> const Json& {
    const Json* value = part.find(key);
    return value != nullptr ? *value : missing;
  };
  if (spec.on == On::level) {
    spec.signal = part.named("signal", name_of("signal"), names.signals, names.signal_ids);
    spec.level = part.number("level", -1e12, 1e12);
  }
  if (spec.on == On::edge)
    spec.line = part.named("line", name_of("line"), names.lines, names.line_ids);
  return spec;
}

ActRequest read_act(const Json& json, std::string& problem) {
  Part part(json, "act", problem);
  ActRequest act;
  if (!json.is_object()) return act;
  if (json.empty() || json.size() > panel_limit::words)
    part.say(fmt::format("act has {} words; allowed 1 to {}.", json.size(), panel_limit::words));
  for (const auto& [key, value] : json.items()) {
    if (!value.is_string() || value.get_ref<const std::string&>().size() > panel_limit::text ||
        key.size() > panel_limit::text) {
      part.wrong(key.substr(0, 60), shown(value),
                 "a text with its unit, as a scenario's timeline has it");
      return act;
    }
    act.words.emplace_back(key, value.get<std::string>());
  }
  return act;
}

constexpr std::array<std::string_view, 7> heads = {"hello", "view", "trigger", "drive",
                                                   "act",   "run",  "open"};

}  // namespace

std::variant<Request, Misunderstood> read_request(std::string_view text,
                                                  const std::vector<std::uint16_t>& lines) {
  if (text.size() > panel_limit::message_bytes)
    return Misunderstood{fmt::format("The message has {} bytes; allowed at most {}.", text.size(),
                                     panel_limit::message_bytes),
                         {}};
  const Json json = Json::parse(text, nullptr, false);
  if (!json.is_object())
    return Misunderstood{"The message is no JSON object; allowed: {\"hello\": ...} and the like.",
                         {}};
  std::string problem;
  Part message(json, "message", problem);
  Request request;
  if (message.find("ask") != nullptr) request.ask = message.whole("ask", 0, UINT32_MAX);
  const auto head = std::find_if(heads.begin(), heads.end(),
                                 [&](std::string_view key) { return json.contains(key); });
  const std::size_t keys = json.size() - (json.contains("ask") ? 1 : 0);
  if (head == heads.end() || keys != 1) {
    message.say(fmt::format("The message is {}; allowed: one of {}, and ask beside it.",
                            shown(json), fmt::join(heads, ", ")));
  } else {
    const Json& body = json.at(std::string(*head));
    const Names names(lines);
    switch (head - heads.begin()) {
      case 0:
        request.what = read_hello(body, problem);
        break;
      case 1:
        request.what = read_view(body, names, problem);
        break;
      case 2:
        request.what = read_trigger(body, names, problem);
        break;
      case 3:
        request.what = DriveRequest{message.word("drive", {"release", "take"}) == 1};
        break;
      case 4:
        request.what = read_act(body, problem);
        break;
      case 5:
        request.what = static_cast<RunRequest>(
            message.word("run", {"start", "pause", "resume", "step", "stop"}));
        break;
      default:
        request.what = OpenRequest{message.text("open", "")};
        break;
    }
  }
  if (!problem.empty()) return Misunderstood{std::move(problem), request.ask};
  return request;
}

}  // namespace stillrotor
