#include "emulator/virtual_time/wiring.hpp"

namespace stillrotor {
namespace {

io::Level to_level(bool high) noexcept { return high ? io::Level::high : io::Level::low; }

io::Level pulled(Pull pull) noexcept {
  if (pull == Pull::none) return io::Level::released;
  return to_level(pull == Pull::up);
}

}  // namespace

template <class Change>
bool Wiring::change(io::LineId line, Change apply) noexcept {
  const io::Level before = level(line);
  apply(wires_[io::index(line)]);
  return level(line) != before;
}

bool Wiring::set_source(io::LineId line, bool on) noexcept {
  return change(line, [on](Wire& wire) { wire.on = on; });
}

bool Wiring::set_fault(io::LineId line, const LineFault& fault) noexcept {
  return change(line, [&](Wire& wire) { wire.fault = fault; });
}

io::Level Wiring::level(io::LineId line, bool source_on) const noexcept {
  const LineHarness& harness = lines_[io::index(line)];
  const LineFault& fault = wires_[io::index(line)].fault;
  if (!harness.connected || fault.open) return pulled(harness.pull);
  if (fault.stuck) return to_level(fault.stuck_high);
  return to_level(source_on == harness.active_high);
}

bool Wiring::turns_on(io::LineId driven, io::Level pin) const noexcept {
  const LineHarness& harness = lines_[io::index(driven)];
  if (!harness.connected) return false;
  const io::Level level = pin == io::Level::released ? pulled(harness.pull) : pin;
  return level != io::Level::released && (level == io::Level::high) == harness.active_high;
}

}  // namespace stillrotor
