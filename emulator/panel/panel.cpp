#include "emulator/panel/panel.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

namespace stillrotor {
namespace {

using Json = nlohmann::json;
using Ask = std::optional<std::uint32_t>;

constexpr std::size_t ids_most = 256, texts_most = 400, texts_busy = 8;
constexpr auto state_every = std::chrono::milliseconds(500);

std::string_view name(MarkKind kind) noexcept {
  constexpr std::array<std::string_view, 5> names{"action", "fault", "event", "text", "gap"};
  return names[static_cast<std::size_t>(kind)];
}

Json json_of(const PanelMark& mark) {
  return {{"kind", name(mark.kind)},
          {"t_s", static_cast<double>(mark.at_ps) * 1e-12},
          {"to_s", static_cast<double>(mark.to_ps) * 1e-12},
          {"name", mark.name},
          {"detail", mark.detail}};
}

/// From number `from` on, at most `most`.
Json marks_from(const ShownRun& run, std::uint64_t& from, std::size_t most) {
  const auto& marks = run.marks();
  from = std::max(from, run.marks_gone());
  Json list = Json::array();
  for (; from < run.marks_gone() + marks.size() && list.size() < most; ++from)
    list.push_back(json_of(marks[from - run.marks_gone()]));
  return list;
}

}  // namespace

Panel::Panel(const AccessRules& rules, std::shared_ptr<ShownRun> run, DrivenRun* driven,
             RunChoice* choice)
    : rules_(rules), run_(std::move(run)), driven_(driven), choice_(choice) {}
Panel::~Panel() = default;

PanelClientPtr Panel::join(Time now) {
  clients_.push_back(std::make_shared<PanelClient>(now));
  return clients_.back();
}

void Panel::leave(const PanelClientPtr& client, Time now) {
  const auto it = std::find(clients_.begin(), clients_.end(), client);
  if (it == clients_.end()) return;
  clients_.erase(it);
  // Not where it has come back on another connection.
  if (client->close != CloseCode::replaced) seat_.connection_lost(client->id, now);
}

PanelClientPtr Panel::pointer(const PanelClient& client) const {
  for (const PanelClientPtr& one : clients_)
    if (one.get() == &client) return one;
  return nullptr;
}

void Panel::say(PanelClient& client, const Json& message) {
  if (client.texts.size() >= texts_most) client.close = CloseCode::too_much;
  if (client.close) return;
  client.texts.push_back(message.dump(-1, ' ', false, Json::error_handler_t::replace));
}

void Panel::refuse(PanelClient& client, Ask ask, std::string_view why) {
  Json refused{{"why", why}};
  if (ask) refused["ask"] = *ask;
  say(client, {{"refused", refused}});
}

void Panel::done(PanelClient& client, Ask ask) {
  if (ask) say(client, {{"done", {{"ask", *ask}}}});
}

void Panel::hear(PanelClient& client, std::string_view text, Time now) {
  if (client.close) return;
  if (!client.limit.take(now)) {
    client.close = CloseCode::too_much;
    return;
  }
  static const std::vector<std::uint16_t> none;
  const auto read = read_request(text, client.run ? client.run->lines() : none);
  const auto* request = std::get_if<Request>(&read);
  if (!client.greeted() && (request == nullptr || !std::holds_alternative<Hello>(request->what))) {
    client.close = CloseCode::protocol;
    return;
  }
  if (request == nullptr) {
    const auto& misunderstood = std::get<Misunderstood>(read);
    return refuse(client, misunderstood.ask, misunderstood.why);
  }
  std::visit([&](const auto& what) { on(client, what, request->ask, now); }, request->what);
}

void Panel::on(PanelClient& client, const Hello& hello, Ask ask, Time now) {
  if (client.greeted()) return refuse(client, ask, "hello was said already; allowed once.");
  if (!rules_.token_fits(hello.token)) {
    client.close = CloseCode::token;
    return;
  }
  if (hello.protocol != panel_protocol) {
    client.close = CloseCode::protocol;
    return;
  }
  if (names_.contains(hello.client)) {
    client.id = hello.client;
    for (const PanelClientPtr& other : clients_)
      if (other.get() != &client && other->id == client.id) other->close = CloseCode::replaced;
    seat_.came_back(client.id, now);
  } else {
    client.id = make_token();
    names_[client.id] = std::to_string(++named_);
    ids_.push_back(client.id);
    if (ids_.size() > ids_most) {
      names_.erase(ids_.front());
      ids_.pop_front();
    }
  }
  client.name = names_[client.id];
  client.run = run_;
  welcome(client);
  tell_state(client, now, true);
}

void Panel::welcome(PanelClient& client) {
  Json welcome = client.run->welcome();
  welcome["protocol"] = panel_protocol;
  welcome["client"] = client.id;
  welcome["name"] = client.name;
  welcome["runs"] = choice_ != nullptr ? choice_->list() : Json::array();
  const std::uint64_t all = client.run->marks_gone() + client.run->marks().size();
  client.marks_told = all > marks_in_welcome ? all - marks_in_welcome : 0;
  welcome["marks"] = marks_from(*client.run, client.marks_told, marks_in_welcome);
  say(client, {{"welcome", welcome}});
}

void Panel::on(PanelClient& client, const ViewSpec& view, Ask ask, Time) {
  client.views.set(view, client.run->source());
  done(client, ask);
}

void Panel::on(PanelClient& client, const TriggerSpec& trigger, Ask ask, Time) {
  client.views.arm(trigger, client.run->source());
  done(client, ask);
  say(client, {{"armed", client.views.trigger().armed()}});
}

void Panel::on(PanelClient& client, const DriveRequest& drive, Ask ask, Time now) {
  if (driven_ == nullptr) return refuse(client, ask, "This run is over; nobody drives it.");
  if (!drive.take) {
    seat_.release(client.id);
  } else if (!seat_.take(client.id, now)) {
    const std::string& holder = seat_.holder(now);
    return refuse(client, ask,
                  fmt::format("{} drives. The seat gets free when it is released, and {} s after "
                              "that connection was lost.",
                              names_[holder], DriversSeat::kept_for.count()));
  }
  done(client, ask);
}

void Panel::on(PanelClient& client, const ActRequest& act, Ask ask, Time now) {
  if (driven_ == nullptr) return refuse(client, ask, "This run is over; nobody drives it.");
  if (!drives(client, now))
    return refuse(client, ask, "Only the driver acts: take the seat first.");
  asked_[driven_->act(act)] = {pointer(client), ask};
}

void Panel::on(PanelClient& client, const RunRequest& request, Ask ask, Time now) {
  if (driven_ == nullptr) return refuse(client, ask, "This run is over.");
  if (request != RunRequest::stop && !drives(client, now))
    return refuse(client, ask, "Only the driver does that: take the seat first. Anybody may stop.");
  if (const std::string why = driven_->run(request); !why.empty()) return refuse(client, ask, why);
  done(client, ask);
}

void Panel::on(PanelClient& client, const OpenRequest& open, Ask ask, Time now) {
  if (choice_ == nullptr)
    return refuse(client, ask, "There is one run to see; others by: stillrotor panel FOLDER.");
  std::string why;
  std::shared_ptr<ShownRun> run = choice_->open(open.name, why);
  if (!run) return refuse(client, ask, why);
  client.views.all_off();
  client.run = std::move(run);
  welcome(client);
  tell_state(client, now, true);
}

void Panel::Looker::frame(const Frame& frame) noexcept {
  for (const PanelClientPtr& client : panel.clients_)
    if (client->run == panel.run_) client->views.trigger().frame(frame);
}
void Panel::Looker::edge(const LineEdge& edge) noexcept {
  for (const PanelClientPtr& client : panel.clients_)
    if (client->run == panel.run_) client->views.trigger().edge(edge);
}
void Panel::Looker::mark(MarkKind kind, std::int64_t at_ps, std::string_view name, std::string_view,
                         std::int64_t) noexcept {
  for (const PanelClientPtr& client : panel.clients_)
    if (client->run == panel.run_) client->views.trigger().mark(kind, at_ps, name);
}

void Panel::tell_marks(PanelClient& client) {
  if (client.texts.size() > texts_busy) return;
  const Json marks = marks_from(*client.run, client.marks_told, marks_at_once);
  if (!marks.empty()) say(client, {{"marks", marks}});
}

void Panel::tell_state(PanelClient& client, Time now, bool at_once) {
  Json moving = Json::object();
  Json state = client.run->state(moving);
  const std::string& holder = seat_.holder(now);
  state["driver"] = holder.empty() ? Json() : Json(names_[holder]);
  state["you"] = !holder.empty() && holder == client.id ? "driver" : "watcher";
  state["clients"] = std::count_if(clients_.begin(), clients_.end(),
                                   [](const PanelClientPtr& one) { return one->greeted(); });
  std::string told = state.dump(-1, ' ', false, Json::error_handler_t::replace);
  if (!at_once && told == client.state_told && now - client.state_at < state_every) return;
  if (client.texts.size() > texts_busy) return;
  client.state_told = std::move(told);
  client.state_at = now;
  state.update(moving);
  state["missed_frames"] = client.views.missed();
  say(client, {{"state", state}});
}

void Panel::tell_trigger(PanelClient& client) {
  Trigger& trigger = client.views.trigger();
  if (!trigger.armed()) return;
  const ViewSource& source = client.run->source();
  trigger.seen_until(static_cast<double>(source.points()) / source.rate_Hz());
  if (!trigger.take_news()) return;
  const Trigger::Caught& caught = *trigger.shown();
  say(client, {{"caught", {{"t_s", caught.t_s}, {"what", caught.what}}}});
}

void Panel::turn(Time now) {
  if (driven_ != nullptr) {
    for (const DrivenRun::Settled& settled : driven_->settled()) {
      const auto it = asked_.find(settled.number);
      if (it == asked_.end()) continue;
      const PanelClientPtr client = it->second.client.lock();
      const Ask ask = it->second.ask;
      asked_.erase(it);
      if (!client) continue;
      if (!settled.done) {
        refuse(*client, ask, settled.why);
      } else if (ask) {
        say(*client, {{"done", {{"ask", *ask}, {"t_s", settled.at_s}, {"line", settled.line}}}});
      }
    }
  }
  for (const PanelClientPtr& client : clients_) {
    if (client->close) continue;
    if (!client->greeted()) {
      if (now - client->joined >= hello_within) client->close = CloseCode::no_hello;
      continue;
    }
    tell_trigger(*client);
    tell_marks(*client);
    tell_state(*client, now, false);
    client->views.turn(client->run->source(), now);
  }
}

std::optional<std::string> Panel::document(std::string_view target) const {
  if (!target.starts_with('/')) return {};
  target.remove_prefix(1);
  if (target == "report.html" || target == "scenario.yaml") return run_->document(target);
  if (choice_ == nullptr || !target.starts_with("runs/")) return {};
  target.remove_prefix(5);
  const std::size_t slash = target.rfind('/');
  if (slash == std::string_view::npos) return {};
  const std::string_view what = target.substr(slash + 1);
  if (what != "report.html" && what != "scenario.yaml") return {};
  std::string why;
  const auto run = choice_->open(std::string(target.substr(0, slash)), why);
  return run ? run->document(what) : std::nullopt;
}

}  // namespace stillrotor
