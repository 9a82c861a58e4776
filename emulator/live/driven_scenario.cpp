#include "emulator/live/driven_scenario.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "emulator/bench/input_error.hpp"
#include "emulator/live/saved_scenario.hpp"
#include "emulator/scenario/bench_needs.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

/// What a file of a scenario holds, with room for its own lines.
constexpr std::size_t most_actions = 15'000;

/// Problems have no place in a file here.
constexpr std::string_view here = "what is done now";

/// Its own line, as messages about a driven one may name it.
Place place_in_the_scenario(const Action& action) {
  return whole(fmt::format("the scenario at {:g} s", static_cast<double>(action.at_ps) / 1e12));
}

std::vector<ReadAction> lines_of(const Scenario& scenario) {
  std::vector<ReadAction> lines;
  const auto add = [&](const Action& action, std::optional<Condition> condition) {
    ReadAction read;
    read.action = action;
    read.place = place_in_the_scenario(action);
    read.condition = std::move(condition);
    read.line = scenario.resolved.timeline[lines.size()];
    lines.push_back(std::move(read));
  };
  for (const Action& action : scenario.timeline) add(action, {});
  for (const WaitingAction& one : scenario.waiting) add(one.action, one.condition);
  return lines;
}

YamlNode scalar(const std::string& text) {
  YamlNode node;
  node.kind = YamlNode::Kind::scalar;
  node.text = text;
  return node;
}

/// What only a scenario that is written can say; empty: nothing of that.
std::string not_to_be_driven(const DrivenWord& word) {
  for (const char* key : {"at", "when", "after", "by", "overtakes"})
    if (word.key == key)
      return fmt::format(
          "{} means nothing at a running bench: what is done there is done at once. Write it "
          "into a scenario.",
          key);
  if (word.key == "intermittent" || word.text.starts_with('{'))
    return fmt::format(
        "{} has more than one value; allowed at a running bench one value: what is random or has a "
        "shape is drawn before a run begins. Write it into a scenario.",
        word.key);
  const auto unprintable = [](char c) { return static_cast<unsigned char>(c) < 0x20; };
  if (word.text.empty() || std::any_of(word.text.begin(), word.text.end(), unprintable))
    return fmt::format("{} has no value that can be read. Write one, as in throttle: 2.6 V.",
                       word.key);
  return {};
}

std::string sentences(const InputError& error) {
  std::string all;
  for (const std::string& message : error.messages) {
    std::string_view text = message;
    if (text.starts_with(here)) text.remove_prefix(here.size());
    if (text.starts_with(": ")) text.remove_prefix(2);
    all += all.empty() ? "" : " ";
    all += text;
  }
  return all;
}

bool same_fault(const Action& a, const Action& b) {
  return a.kind == ActionKind::fault && b.kind == ActionKind::fault && a.fault == b.fault &&
         a.which == b.which;
}

}  // namespace

DrivenScenario::DrivenScenario(const Bench& bench, const Scenario& scenario, LiveControl& control)
    : bench_(bench), scenario_(scenario), control_(control), own_(lines_of(scenario)) {
  set_["key"] = scenario.start.key ? "on" : "off";
}

std::uint64_t DrivenScenario::act(std::vector<DrivenWord> words) {
  waiting_.push_back({++asked_, std::move(words)});
  go_on();
  return asked_;
}

std::vector<DrivenScenario::Settled> DrivenScenario::settled() {
  go_on();
  return std::exchange(settled_, {});
}

void DrivenScenario::refuse(std::string why) {
  settled_.push_back({waiting_.front().number, false, 0.0, {}, std::move(why)});
  waiting_.pop_front();
  offered_.reset();
}

void DrivenScenario::go_on() {
  for (; !waiting_.empty(); offered_.reset()) {
    if (offered_) {
      const bool ended = control_.phase() == LivePhase::ended;  // then its last answer is there
      const LiveControl::Answer answer = control_.answer();
      if (answer == LiveControl::Answer::none && !ended) return;
      if (answer == LiveControl::Answer::taken) {
        take_down();
        continue;
      }
    }
    const std::int64_t at_ps = control_.earliest_ps();
    if (control_.end_ps() >= 0 || control_.phase() == LivePhase::ended ||
        at_ps >= scenario_.lasts_ps) {
      refuse("the run ends before that can be done. Start it again.");
      continue;
    }
    offer(at_ps);
    if (offered_ || control_.offered() != nullptr) return;
  }
}

/// Refuses what is wrong.
void DrivenScenario::offer(std::int64_t at_ps) {
  try {
    ReadAction read = compiled(waiting_.front().words, at_ps);
    if (control_.offer(std::make_unique<const Action>(read.action))) offered_ = std::move(read);
  } catch (const InputError& error) {
    refuse(sentences(error));
  }
}

/// It will be done at its time, whatever happens.
void DrivenScenario::take_down() {
  Waiting& done = waiting_.front();
  const Action& action = offered_->action;
  if (action.kind != ActionKind::fault)
    for (const ActionWord& word : action_words())
      for (const DrivenWord& said : done.words)
        if (said.key == word.name)
          set_[action.kind == ActionKind::temperature
                   ? fmt::format("{} {}", word.name, body_words[action.body])
                   : said.key] = said.text;
  settled_.push_back(
      {done.number, true, static_cast<double>(action.at_ps) / 1e12, offered_->line, {}});
  driven_.push_back(std::move(*offered_));
  waiting_.pop_front();
}

ReadAction DrivenScenario::compiled(const std::vector<DrivenWord>& words,
                                    std::int64_t at_ps) const {
  if (driven_.size() >= most_actions)
    throw InputError(fmt::format(
        "{} actions have been driven; a scenario holds no more. Start another run.", most_actions));
  YamlNode line;
  line.kind = YamlNode::Kind::map;
  const auto add = [&](const std::string& key, const std::string& text) {
    if (line.find(key) != nullptr)
      throw InputError(fmt::format("{} is said twice. Say it once.", key));
    line.entries.push_back({{key, {}}, scalar(text)});
  };
  add("at", time_text(at_ps));
  for (const DrivenWord& word : words) {
    if (const std::string why = not_to_be_driven(word); !why.empty()) throw InputError(why);
    add(word.key, word.text);
  }
  const auto read = [&] {
    Problems problems;
    auto action = read_action(line, bench_, scenario_.lasts_ps, problems);
    problems.throw_if_any();
    action->place = whole(fmt::format("driven at {}", time_text(at_ps)));
    return std::move(*action);
  };
  ReadAction action = read();
  if (overtakes(action.action)) {
    add("overtakes", "on");
    action = read();
  }
  if (const std::string why = beyond_the_chip(action.action, bench_); !why.empty())
    throw InputError("this " + why);
  if (road_gives(scenario_.road, action.action.kind))
    throw InputError(
        fmt::format("the scenario's road gives {} already. Drive a scenario whose road does not.",
                    action.action.mark));
  check_with_the_others(action);
  return action;
}

/// Whoever turns a throttle does not wait for it to come to rest.
bool DrivenScenario::overtakes(const Action& action) const {
  const auto last = [&](const std::vector<ReadAction>& lines) {
    const Action* found = nullptr;
    for (const ReadAction& line : lines)
      if (!line.condition && line.action.at_ps <= action.at_ps &&
          move_the_same(line.action, action) &&
          (found == nullptr || line.action.at_ps >= found->at_ps))
        found = &line.action;
    return found;
  };
  const auto moves = [&](const Action* other) {
    return other != nullptr && other->at_ps + lasting_ps(*other) > action.at_ps;
  };
  return moves(last(own_)) || moves(last(driven_));
}

/// Throws InputError.
void DrivenScenario::check_with_the_others(const ReadAction& read) const {
  std::vector<ReadAction> concerned;
  for (const auto* lines : {&own_, &driven_})
    for (const ReadAction& line : *lines)
      if (same_fault(line.action, read.action) || move_the_same(line.action, read.action))
        concerned.push_back(line);
  concerned.push_back(read);
  concerned.back().place = whole(std::string(here));
  sort_timeline(concerned);
  Problems problems;
  check_order_of_faults(concerned, problems);
  check_overlaps(concerned, problems);
  problems.throw_if_any();
}

std::string DrivenScenario::yaml() const {
  return saved_scenario(scenario_, own_, driven_, control_.end_ps());
}

}  // namespace stillrotor
