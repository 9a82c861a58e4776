// An action of the vocabulary: a switch, or a quantity that steps, ramps or follows a shape.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <initializer_list>
#include <memory>

#include "emulator/scenario/action_draft.hpp"
#include "emulator/scenario/bench_needs.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

class WordReader {
 public:
  explicit WordReader(ActionDraft& draft) : d_(draft) {}

  bool read(const std::string& name) {
    const auto words = action_words();
    const ActionWord& word = *std::find_if(words.begin(), words.end(),
                                           [&](const ActionWord& w) { return w.name == name; });
    Action& action = d_.read.action;
    action.kind = word.kind;
    using Form = ActionWord::Form;
    const bool heats = word.kind == ActionKind::temperature;
    const bool moves = word.form == Form::ramp;
    bool good =
        allow_only(name, {moves ? ramp_time : "", moves ? overtaking : "", heats ? "body" : ""});
    if (heats) good = read_body() && good;
    if (d_.fields.has(overtaking)) good = read_overtaking() && good;
    const YamlNode* value_node = d_.fields.node(name);
    if (moves && value_node->kind == YamlNode::Kind::map)
      return read_shaped(word, *value_node) && good && has_wire(word) && has_part(word);
    const std::string written = d_.fields.text(name);
    d_.pairs.push_back({name, written});
    action.label = fmt::format("{} {}", name, written);
    if (word.form == Form::on_off) {
      const auto value = d_.fields.on_off(name);
      action.value = value.value_or(false) ? 1.0 : 0.0;
      action.label = event_name(action);
      good = good && value.has_value();
    } else {
      const auto value =
          written_as_position(word, written)
              ? throttle_V(d_.fields.quantity(name, Family::ratio, 0.0, 1.0, "0 % to 100 %"))
              : d_.fields.quantity(name, word.family, word.least, word.most, word.allowed);
      action.value = value.value_or(0.0);
      good = good && value.has_value();
      if (moves) good = read_ramp() && good;
    }
    action.mark = event_name(action);
    return good && has_wire(word) && has_part(word);
  }

 private:
  bool read_shaped(const ActionWord& word, const YamlNode& node) {
    if (d_.fields.has(ramp_time)) {
      d_.means_nothing(std::string(ramp_time), "a shape, which has its own time");
      return false;
    }
    const Controls& c = d_.bench.controls;
    auto read =
        read_shape(node,
                   {word.name, word.family, word.least, word.most, word.allowed,
                    word.kind == ActionKind::throttle, c.throttle_idle_V, c.throttle_full_V},
                   d_.problems);
    if (!read) return false;
    Action& action = d_.read.action;
    action.shape = std::make_shared<const Shape>(std::move(read->shape));
    action.least = word.least;
    action.most = word.most;
    action.label = fmt::format("{} {}", word.name, read->label);
    action.mark = event_name(action);
    d_.read.table = std::move(read->table);
    d_.pairs.push_back({std::string(word.name), read->written, true});
    return true;
  }

  /// Which body's temperature.
  bool read_body() {
    const std::vector<std::string> bodies(body_words.begin(), body_words.end());
    if (!d_.fields.has("body")) {
      d_.fields.wrong("temperature", fmt::format("temperature needs body; allowed {}. Write body: "
                                                 "winding.",
                                                 fmt::join(bodies, ", ")));
      return false;
    }
    const auto body = d_.fields.choice("body", bodies);
    d_.read.action.body = body.value_or(0);
    d_.pairs.push_back({"body", d_.fields.text("body")});
    return body.has_value();
  }

  bool read_overtaking() {
    const auto said = d_.fields.on_off(overtaking);
    d_.read.action.overtakes = said.value_or(false);
    return said.has_value();
  }

  bool read_ramp() {
    const auto over = d_.fields.time_ps("over", 0.0, 3600.0, "0 s to 3600 s");
    Action& action = d_.read.action;
    action.over_ps = over.value_or(0);
    if (action.over_ps > 0) action.label += " over " + d_.fields.text("over");
    d_.pairs.push_back({"over", d_.fields.has("over") ? d_.fields.text("over") : "0 s"});
    return over || !d_.fields.has("over");
  }

  static bool written_as_position(const ActionWord& word, const std::string& written) {
    return word.kind == ActionKind::throttle && written.ends_with('%');
  }
  std::optional<double> throttle_V(std::optional<double> position) const {
    const Controls& c = d_.bench.controls;
    if (position)
      *position = c.throttle_idle_V + *position * (c.throttle_full_V - c.throttle_idle_V);
    return position;
  }

  /// Options only where they mean something.
  bool allow_only(const std::string& action, std::initializer_list<std::string_view> allowed) {
    bool good = true;
    for (const std::string& option : action_options())
      if (d_.fields.has(option) &&
          std::find(allowed.begin(), allowed.end(), option) == allowed.end()) {
        d_.means_nothing(option, action);
        good = false;
      }
    return good;
  }

  bool has_wire(const ActionWord& word) {
    if (wired(word.kind, d_.bench.harness)) return true;
    d_.fields.wrong(word.name, fmt::format("{} has no wire on the bench \"{}\". Add it to harness "
                                           "there, or remove the action.",
                                           word.name, d_.bench.name));
    return false;
  }

  bool has_part(const ActionWord& word) {
    const std::string_view needs = missing_part(word.kind, d_.bench);
    if (needs.empty()) return true;
    return d_.lacks(word.name, word.name, needs, "Add it there, or remove the action");
  }

  ActionDraft& d_;
};

}  // namespace

const std::vector<std::string>& action_options() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all{std::string(ramp_time), std::string(overtaking), "body",
                                 "intermittent"};
    for (const Fault* fault : fault_catalogue())
      for (const FaultOption& option : fault->options)
        if (std::find(all.begin(), all.end(), option.name) == all.end())
          all.emplace_back(option.name);
    return all;
  }();
  return names;
}

bool read_word(ActionDraft& draft, const std::string& name) { return WordReader(draft).read(name); }

}  // namespace stillrotor
