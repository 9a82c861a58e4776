#include "emulator/panel/trigger.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "emulator/panel/panel_tap.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

using On = TriggerSpec::On;
using Slope = TriggerSpec::Slope;

double seconds(std::int64_t ps) noexcept { return static_cast<double>(ps) * 1e-12; }

std::optional<MarkKind> mark_kind(On on) noexcept {
  switch (on) {
    case On::fault:
      return MarkKind::fault;
    case On::event:
      return MarkKind::event;
    case On::action:
      return MarkKind::action;
    default:
      return {};
  }
}

}  // namespace

void Trigger::arm(TriggerSpec spec, double rate_Hz) {
  spec_ = std::move(spec);
  rate_Hz_ = rate_Hz;
  previous_.reset();
  shown_.reset();
  next_.reset();
  filling_ = news_ = false;
}

bool Trigger::looking(double t_s) const noexcept {
  if (!armed() || next_) return false;
  if (!shown_) return true;
  return !spec_.single && t_s >= shown_->t_s + (1.0 - spec_.before) * span_s_;
}

void Trigger::found(double t_s, std::string what) {
  if (!looking(t_s)) return;
  if (shown_) {
    next_ = Caught{t_s, std::move(what)};
    return;
  }
  shown_ = Caught{t_s, std::move(what)};
  filling_ = news_ = true;
}

void Trigger::frame(const Frame& frame) {
  if (spec_.on != On::level) return;
  const SignalInfo& info = signal_table[static_cast<std::size_t>(spec_.signal)];
  const float now = frame.value[static_cast<std::size_t>(spec_.signal)];
  const double now_s = seconds(frame.at_ps);
  const bool follows = previous_ && now_s - previous_s_ < 1.5 / rate_Hz_;
  const auto level = static_cast<float>(spec_.level);
  if (follows) {
    const float before = *previous_;
    const bool up = before < level && now >= level, down = before > level && now <= level;
    if (((up && spec_.slope != Slope::falling) || (down && spec_.slope != Slope::rising)) &&
        looking(now_s)) {
      const double share = (spec_.level - static_cast<double>(before)) /
                           (static_cast<double>(now) - static_cast<double>(before));
      found(
          previous_s_ + std::clamp(share, 0.0, 1.0) * (now_s - previous_s_),
          fmt::format("{} {} {:g} {}", info.name, up ? "above" : "below", spec_.level, info.unit));
    }
  }
  previous_ = now;
  previous_s_ = now_s;
}

void Trigger::edge(const LineEdge& edge) {
  // Not where a line is said to stand after a loss: that is no change.
  if (spec_.on != On::edge || edge.line != spec_.line || !looking(seconds(edge.at_ps))) return;
  const bool up = edge.level != 0;
  if (spec_.slope != Slope::either && up != (spec_.slope == Slope::rising)) return;
  found(seconds(edge.at_ps),
        fmt::format("{} {}", io::name(io::LineId{edge.line}), up ? "high" : "low"));
}

void Trigger::mark(MarkKind kind, std::int64_t at_ps, std::string_view name) {
  if (mark_kind(spec_.on) != kind || (!spec_.name.empty() && spec_.name != name)) return;
  found(seconds(at_ps), std::string(name));
}

void Trigger::seen_until(double now_s) {
  const auto whole = [&](const Caught& caught) {
    return now_s >= caught.t_s + (1.0 - spec_.before) * span_s_;
  };
  if (filling_ && whole(*shown_)) filling_ = false;
  if (!filling_ && next_ && whole(*next_)) {
    shown_ = std::exchange(next_, {});
    news_ = true;
  }
}

}  // namespace stillrotor
