#include "emulator/panel/live_run.hpp"

#include <algorithm>
#include <utility>

#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::json;

/// At once: a sixteenth of the room on the way here.
constexpr std::int64_t much_points = DroppingSink::frames_most / 16;

std::string_view name(LivePhase phase) noexcept {
  switch (phase) {
    case LivePhase::waiting:
      return "waiting";
    case LivePhase::running:
      return "running";
    case LivePhase::paused:
      return "paused";
    case LivePhase::ended:
      break;
  }
  return "ended";
}

Json json_of(const std::optional<PanelLateness>& lateness) {
  if (!lateness) return nullptr;
  return {{"p50", lateness->p50_us},
          {"p99", lateness->p99_us},
          {"p999", lateness->p999_us},
          {"max", lateness->most_us}};
}

Json or_null(const std::string& text) { return text.empty() ? Json() : Json(text); }

}  // namespace

/// What comes out of the tap goes to the store, and to whoever looks at everything.
struct LiveRun::Both final : RunSink {
  LiveRun& run;
  RunSink& also;
  Both(LiveRun& r, RunSink& a) : run(r), also(a) {}

  void frame(const Frame& frame) noexcept override {
    run.store_.frame(frame);
    also.frame(frame);
  }
  void edge(const LineEdge& edge) noexcept override {
    run.store_.edge(edge);
    also.edge(edge);
  }
  void mark(MarkKind kind, std::int64_t at_ps, std::string_view what, std::string_view detail,
            std::int64_t to_ps) noexcept override {
    run.store_.mark(kind, at_ps, what, detail, to_ps);
    run.note_mark(kind, what, detail);
    also.mark(kind, at_ps, what, detail, to_ps);
  }
};

LiveRun::LiveRun(Parts parts, PanelStore store, std::vector<std::uint16_t> lines, Json welcome)
    : parts_(parts),
      store_(std::move(store)),
      lines_(std::move(lines)),
      welcome_(std::move(welcome)),
      step_ps_(static_cast<std::int64_t>(welcome_.at("step_s").get<double>() * 1e12 + 0.5)) {}

/// Which faults are there, and what was set last, by the scenario or by hand.
void LiveRun::note_mark(MarkKind kind, std::string_view what, std::string_view detail) {
  const auto with = [&](std::string_view fault) {
    return std::string(fault) + (detail.empty() ? "" : " ") + std::string(detail);
  };
  if (kind == MarkKind::fault) {
    faults_.push_back(with(what));
    return;
  }
  if (kind != MarkKind::action) return;
  if (what.ends_with(cleared_ending)) {
    const std::string fault = with(what.substr(0, what.size() - cleared_ending.size()));
    if (const auto it = std::find(faults_.begin(), faults_.end(), fault); it != faults_.end())
      faults_.erase(it);
    return;
  }
  for (const ActionWord& word : action_words()) {
    const auto says = [&](std::string_view text) {
      return text.size() > word.name.size() && text.starts_with(word.name) &&
             text[word.name.size()] == ' ';
    };
    if (!says(detail) && !says(what)) continue;
    const std::string_view said = (says(detail) ? detail : what).substr(word.name.size() + 1);
    set_[std::string(word.name)] = said.substr(0, said.find(" over "));
    return;
  }
}

bool LiveRun::take_in(RunSink& also, std::chrono::steady_clock::time_point now) {
  Both both(*this, also);
  const std::int64_t points = store_.points();
  parts_.tap.deliver(both);
  const bool much = store_.points() - points >= much_points;
  const double passed_s = std::chrono::duration<double>(now - measured_).count();
  if (passed_s < 1.0) return much;
  const double there_s = now_s();
  if (measured_ != std::chrono::steady_clock::time_point{})
    speed_factor_ = (there_s - measured_s_) / passed_s;
  measured_ = now;
  measured_s_ = there_s;
  return much;
}

Json LiveRun::welcome() const {
  Json welcome = welcome_;
  for (Json& action : welcome.at("actions"))
    if (const auto it = set_.find(action.at("name").get<std::string>()); it != set_.end())
      action["now"] = it->second;
  return welcome;
}

Json LiveRun::state(Json& moving) const {
  const std::lock_guard lock(mutex_);
  const LivePhase phase = parts_.control.phase();
  moving["t_s"] = now_s();
  moving["speed_factor"] = phase == LivePhase::running ? speed_factor_ : 0.0;
  moving["lateness_us"] = json_of(news_.lateness);
  return {{"phase", name(phase)},
          {"not_seen", parts_.tap.not_seen()},
          {"integrity",
           {{"deadline_misses", news_.deadline_misses},
            {"lost_edges", news_.lost_edges},
            {"late_writes", news_.late_writes},
            {"gaps", store_.gaps()}}},
          {"faults", faults_},
          {"set", set_},
          {"verdict", news_.verdict ? Json(*news_.verdict) : Json()},
          {"reason", news_.reason},
          {"report", !news_.report_html.empty()},
          {"saved", or_null(news_.saved)},
          {"problem", news_.problem}};
}

std::optional<std::string> LiveRun::document(std::string_view name) const {
  if (name == "scenario.yaml") {
    const std::lock_guard lock(driven_mutex_);
    return parts_.driven.yaml();
  }
  if (name != "report.html") return {};
  const std::lock_guard lock(mutex_);
  if (news_.report_html.empty()) return {};
  return news_.report_html;
}

std::string LiveRun::run(RunRequest request) {
  LiveControl& control = parts_.control;
  const LivePhase phase = control.phase();
  if (phase == LivePhase::ended) return "The run has ended.";
  if (request == RunRequest::stop) {
    control.stop();
    return {};
  }
  if (request == RunRequest::start) {
    if (phase != LivePhase::waiting) return "The run has started already.";
    control.start();
    return {};
  }
  if (phase == LivePhase::waiting) return "Nothing has started yet; allowed: start, stop.";
  if (!control.can_pause())
    return "Real wires do not wait: a run on the wall clock cannot pause. It can be stopped.";
  switch (request) {
    case RunRequest::pause:
      return control.pause() ? "" : "This run cannot pause.";
    case RunRequest::resume:
      control.resume();
      return {};
    default:
      return control.step(step_ps_) ? "" : "The run is not paused; pause it first.";
  }
}

std::uint64_t LiveRun::act(const ActRequest& act) {
  std::vector<DrivenWord> words;
  for (const auto& [key, text] : act.words) words.push_back({key, text});
  const std::lock_guard lock(driven_mutex_);
  return parts_.driven.act(std::move(words));
}

void LiveRun::collect_settled() {
  for (DrivenScenario::Settled& one : parts_.driven.settled())
    settled_.push_back({one.number, one.done, one.at_s, std::move(one.line), std::move(one.why)});
}

std::vector<DrivenRun::Settled> LiveRun::settled() {
  const std::lock_guard lock(driven_mutex_);
  collect_settled();
  return std::exchange(settled_, {});
}

std::string LiveRun::driven_yaml() {
  const std::lock_guard lock(driven_mutex_);
  collect_settled();  // the last one's answer is there by now
  return parts_.driven.size() > 0 ? parts_.driven.yaml() : std::string();
}

}  // namespace stillrotor
