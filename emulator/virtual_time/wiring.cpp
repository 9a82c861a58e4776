#include "emulator/virtual_time/wiring.hpp"

namespace stillrotor {
namespace {

io::Level to_level(bool high) noexcept { return high ? io::Level::high : io::Level::low; }

io::Level pulled(Pull pull) noexcept {
  if (pull == Pull::none) return io::Level::released;
  return to_level(pull == Pull::up);
}

}  // namespace

Wiring::Wiring(const Harness& harness) noexcept : lines_(harness.lines) { find_pins(); }

template <class Change>
bool Wiring::change(io::LineId pin, Change apply) noexcept {
  const io::Level before = level(pin);
  apply();
  return level(pin) != before;
}

bool Wiring::set_source(io::LineId line, bool on) noexcept {
  return change(pin_of(line), [&] { wires_[io::index(line)].on = on; });
}

bool Wiring::set_fault(io::LineId line, const LineFault& fault) noexcept {
  return change(line, [&] {
    Wire& wire = wires_[io::index(line)];
    wire.fault = fault;
    LineFault beside = fault;
    beside.source.reset();
    wire.faulty = beside != LineFault{};
    find_pins();
  });
}

void Wiring::find_pins() noexcept {
  for (std::uint16_t k = 0; k < io::line_count; ++k) {
    wires_[k].source = wires_[k].fault.source.value_or(io::LineId{k});
    wires_[k].pin = io::LineId{k};
  }
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    wires_[io::index(wires_[k].source)].pin = io::LineId{k};
}

io::Level Wiring::level(io::LineId line, bool source_on) const noexcept {
  const LineHarness& harness = lines_[io::index(line)];
  if (!harness.connected) return pulled(harness.pull);
  if (const Wire& wire = wires_[io::index(line)]; wire.faulty) {
    const LineFault& fault = wire.fault;
    if (fault.open || fault.lifeless) return pulled(harness.pull);
    if (fault.stuck) return to_level(fault.stuck_high);
    if (fault.held) source_on = fault.held_on;
    source_on = source_on != (fault.inverted != fault.disturbed);
  }
  return to_level(source_on == harness.active_high);
}

bool Wiring::turns_on(io::LineId driven, io::Level pin) const noexcept {
  const LineHarness& harness = lines_[io::index(driven)];
  if (!harness.connected) return false;
  const io::Level level = pin == io::Level::released ? pulled(harness.pull) : pin;
  return level != io::Level::released && (level == io::Level::high) == harness.active_high;
}

}  // namespace stillrotor
