#include "emulator/panel/client_views.hpp"

#include <algorithm>

namespace stillrotor {

using Kind = ViewSpec::Kind;

void ClientViews::set(const ViewSpec& spec, const ViewSource& source) {
  View& view = views_[spec.id];
  view = {};
  view.spec = spec;
  if (spec.kind == Kind::stream) view.shown = source.points();
  if (spec.id == 0 && spec.kind == Kind::scope) trigger_.show_span(spec.span_s);
}

void ClientViews::arm(TriggerSpec spec, const ViewSource& source) {
  trigger_.arm(std::move(spec), source.rate_Hz());
  views_[0].shown = -1;
  views_[0].whole = false;
}

void ClientViews::all_off() {
  views_ = {};
  trigger_.arm({}, 1.0);
}

ViewWindow ClientViews::window(const View& view, const ViewSource& source) const {
  if (view.spec.end_s) return past_window(view.spec);
  const Trigger::Caught* caught = trigger_.shown();
  if (view.spec.id == 0 && caught != nullptr)
    return trigger_window(view.spec, caught->t_s, trigger_.spec().before);
  return present_window(source, view.spec);
}

bool ClientViews::changed(View& view, const ViewSource& source, Time now) const {
  const std::int64_t points = source.points();
  const bool first = view.shown < 0;
  switch (view.spec.kind) {
    case Kind::off:
      return false;
    case Kind::stream:
      return points > view.shown;
    case Kind::samples:
      if (first) return true;
      return !view.spec.end_s && points != view.shown &&
             now - view.at >= std::chrono::duration<double>(view.spec.every_s);
    case Kind::scope:
      break;
  }
  if (first) return true;
  const Trigger::Caught* caught =
      view.spec.id == 0 && !view.spec.end_s ? trigger_.shown() : nullptr;
  if ((caught != nullptr) != view.trigger_shown) return true;
  if (caught != nullptr && caught->t_s != view.trigger_s) return true;
  return !view.whole && points != view.shown;
}

void ClientViews::turn(const ViewSource& source, Time now) {
  for (View& view : views_) {
    if (view.due && view.spec.kind != Kind::off) {
      if (changed(view, source, now)) ++missed_;
      continue;
    }
    view.due = changed(view, source, now);
    if (view.due) view.at = now;
  }
}

std::optional<FrameBytes> ClientViews::next_frame(const ViewSource& source) {
  for (std::size_t k = 0; k < views_.size(); ++k) {
    View& view = views_[next_];
    next_ = (next_ + 1) % views_.size();
    if (!view.due) continue;
    view.due = false;
    return frame(view, source);
  }
  return {};
}

FrameBytes ClientViews::frame(View& view, const ViewSource& source) {
  const std::uint32_t sequence = view.sequence++;
  const std::int64_t points = source.points();
  if (view.spec.kind == Kind::stream) {
    const auto most = static_cast<std::int64_t>(stream_most_s * source.rate_Hz());
    const std::int64_t from = std::max(
        {view.shown, points - most, points - static_cast<std::int64_t>(panel_limit::samples)});
    view.shown = points;
    return stream_frame(source, view.spec, from, points, sequence);
  }
  view.shown = points;
  if (view.spec.kind == Kind::samples) return samples_frame(source, view.spec, sequence);
  const ViewWindow seen = window(view, source);
  view.trigger_shown = seen.frozen;
  view.trigger_s = seen.trigger_s.value_or(0.0);
  view.whole = !seen.follows && static_cast<double>(points) / source.rate_Hz() >= seen.to_s;
  return scope_frame(source, view.spec, seen, sequence, view.columns);
}

}  // namespace stillrotor
