#include "io/switch_commands.hpp"

namespace stillrotor::io {
namespace {

void append(EdgeBatch& out, Time at, std::size_t line, bool high) noexcept {
  out.edges[out.edge_count++] = {at, LineId(static_cast<std::uint16_t>(line)),
                                 high ? Level::high : Level::low};
}

}  // namespace

void SwitchCommands::come_due(std::size_t k, Time now, EdgeBatch& out) noexcept {
  Leg& leg = legs_[k];
  if (leg.pending == Switch::none || leg.due > now) return;
  append(out, leg.due, 2 * k + (leg.pending == Switch::low ? 1 : 0), true);
  leg.on = leg.pending;
  leg.pending = Switch::none;
}

void SwitchCommands::change(Time at, LineId wire, bool high, EdgeBatch& out) noexcept {
  const std::size_t line = index(wire);
  if (wires_ == GateWires::six || line >= gate_count) {
    append(out, at, line, high);
    return;
  }
  const std::size_t k = line / 2;
  Leg& leg = legs_[k];
  come_due(k, at, out);
  if (line % 2 == 0) {
    leg.input = high;
    leg.input_known = true;
  } else {
    leg.enable = high;
    leg.enable_known = true;
  }
  if (wires_ == GateWires::three) leg.enable = leg.enable_known = true;
  if (!leg.input_known || !leg.enable_known) return;
  const Switch asked = !leg.enable ? Switch::none : leg.input ? Switch::high : Switch::low;
  if (asked == leg.pending && asked != Switch::none) return;
  leg.pending = Switch::none;
  if (asked == leg.on) return;
  if (leg.on != Switch::none) append(out, at, 2 * k + (leg.on == Switch::low ? 1 : 0), false);
  leg.on = Switch::none;
  if (asked == Switch::none) return;
  leg.pending = asked;
  leg.due = at + dead_time_;
  come_due(k, at, out);
}

void SwitchCommands::pass(Time now, EdgeBatch& out) noexcept {
  for (std::size_t k = 0; k < legs_.size(); ++k) come_due(k, now, out);
}

}  // namespace stillrotor::io
