// An action that breaks something, or mends it.
#include <fmt/format.h>

#include <algorithm>

#include "emulator/scenario/action_draft.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

constexpr double longest_s = 3600.0;

const std::vector<std::string>& fault_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const Fault* fault : fault_catalogue()) all.emplace_back(fault->name);
    return all;
  }();
  return names;
}

class FaultReader {
 public:
  explicit FaultReader(ActionDraft& draft) : d_(draft) {}

  bool read(const std::string& key) {
    const auto index = d_.fields.choice(key, fault_names());
    if (!index) return false;
    const Fault& fault = *fault_catalogue()[*index];
    const bool cleared = key == "clear";
    if (cleared && fault.end == nullptr) {
      d_.fields.wrong(key, fmt::format("{} lasts to the end of the run; nothing mends it. Remove "
                                       "this line.",
                                       fault.name));
      return false;
    }
    // What ends a fault needs no more than which of several alike it is.
    std::vector<const FaultOption*> due;
    for (const FaultOption& option : fault.options)
      due.push_back(cleared && !option.which ? nullptr : &option);
    bool good = true;
    for (const std::string& name : action_options())
      if (d_.fields.has(name) && (cleared || name != "intermittent") &&
          std::none_of(due.begin(), due.end(), [&](const FaultOption* option) {
            return option != nullptr && option->name == name;
          })) {
        d_.means_nothing(name, key);
        good = false;
      }
    d_.pairs = {{key, std::string(fault.name)}};
    std::string said;
    FaultSettings settings;
    for (std::size_t k = 0; k < due.size(); ++k) {
      if (due[k] == nullptr) continue;
      const auto value = read_option(key, fault, *due[k]);
      settings.value[k] = value.value_or(0.0);
      good = good && value;
      const std::string text =
          d_.fields.has(due[k]->name) ? d_.fields.text(due[k]->name) : std::string(due[k]->preset);
      d_.pairs.push_back({std::string(due[k]->name), text});
      said += " " + text;
    }
    const std::int64_t at_ps = d_.read.action.at_ps;
    d_.read.action = fault_action(fault, settings, cleared);
    d_.read.action.at_ps = at_ps;
    d_.read.action.label = d_.read.action.mark + said;
    good = read_intermittent(fault) && good;
    return good && (cleared || agrees(key, fault, settings)) && has_part(key, fault, settings);
  }

 private:
  std::optional<double> read_option(const std::string& key, const Fault& fault,
                                    const FaultOption& option) {
    if (!d_.fields.has(option.name)) {
      if (!option.preset.empty()) return preset(option);
      d_.fields.wrong(key, fmt::format("{} needs {}; allowed {}. Write {}: {}.", fault.name,
                                       option.name, option.allowed, option.name, option.example));
      return {};
    }
    if (option.words.empty())
      return d_.fields.quantity(option.name, option.family, option.least, option.most,
                                option.allowed);
    const std::vector<std::string> words(option.words.begin(), option.words.end());
    if (const auto word = d_.fields.choice(option.name, words)) return static_cast<double>(*word);
    return {};
  }

  static double preset(const FaultOption& option) {
    if (option.words.empty()) return to_si(option.preset, option.family).si;
    return static_cast<double>(std::find(option.words.begin(), option.words.end(), option.preset) -
                               option.words.begin());
  }

  /// The times at which it comes and goes are drawn later, when its place in the timeline is known.
  bool read_intermittent(const Fault& fault) {
    const YamlNode* node = d_.fields.node("intermittent");
    if (node == nullptr) return true;
    const std::vector<std::string>& keys = keys_of("intermittent");
    const Fields fields(*node, "intermittent", keys, d_.problems);
    const auto share =
        fields.quantity("probability", Family::ratio, 1e-3, 0.999, "0.1 % to 99.9 %");
    const auto present =
        fields.quantity("lasts", Family::time, 1e-6, longest_s, "1 us to 3600 s, a mean");
    const auto lasts = fields.quantity("for", Family::time, 1e-6, longest_s, "1 us to 3600 s");
    for (const std::string& key : keys)
      if (!fields.has(key))
        d_.problems.add(
            node->place,
            fmt::format("intermittent needs {}. Write intermittent: {{probability: 10 %, "
                        "lasts: 5 ms, for: 2 s}}.",
                        key));
    if (fault.end == nullptr)
      d_.problems.add(node->place, fmt::format("{} lasts to the end of the run; nothing mends it. "
                                               "Remove intermittent.",
                                               fault.name));
    if (!share || !present || !lasts || fault.end == nullptr) return false;
    constexpr double most_flips = 10'000.0;
    if (*lasts * *share / *present > most_flips) {
      d_.problems.add(node->place,
                      fmt::format("intermittent comes about {:.0f} times; allowed {:.0f}. Lengthen "
                                  "lasts, or shorten for.",
                                  *lasts * *share / *present, most_flips));
      return false;
    }
    d_.read.flickering = Flickering{*share, *present, *lasts};
    d_.read.action.flickers_ps = to_ps(*lasts);
    d_.pairs.push_back({"intermittent",
                        flow_map({{"probability", fields.text("probability")},
                                  {"lasts", fields.text("lasts")},
                                  {"for", fields.text("for")}}),
                        true});
    d_.read.action.label +=
        fmt::format(" {} of the time, {} each, for {}", fields.text("probability"),
                    fields.text("lasts"), fields.text("for"));
    return true;
  }

  bool agrees(const std::string& key, const Fault& fault, const FaultSettings& settings) {
    const std::string_view conflict =
        fault.conflict != nullptr ? fault.conflict(settings) : std::string_view();
    if (conflict.empty()) return true;
    d_.fields.wrong(key, fmt::format("{}: {}", fault.name, conflict));
    return false;
  }

  bool has_part(const std::string& key, const Fault& fault, const FaultSettings& settings) {
    if (fault.fits == nullptr || fault.fits(d_.bench, settings)) return true;
    return d_.lacks(key, fault.name, fault.needs,
                    fmt::format("Change it there ({}), or remove the fault", fault.where));
  }

  ActionDraft& d_;
};

}  // namespace

bool read_fault(ActionDraft& draft, const std::string& key) { return FaultReader(draft).read(key); }

}  // namespace stillrotor
