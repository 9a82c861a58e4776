#include "emulator/virtual_time/wiring.hpp"

#include <algorithm>

namespace stillrotor {
namespace {

io::Level to_level(bool high) noexcept { return high ? io::Level::high : io::Level::low; }

io::Level pulled(Pull pull) noexcept {
  if (pull == Pull::none) return io::Level::released;
  return to_level(pull == Pull::up);
}

bool turned_on(const LineHarness& harness, io::Level pin) noexcept {
  if (!harness.connected) return false;
  const io::Level level = pin == io::Level::released ? pulled(harness.pull) : pin;
  return level != io::Level::released && (level == io::Level::high) == harness.active_high;
}

}  // namespace

Wiring::Wiring(const Harness& harness) noexcept : lines_(harness.lines) {
  for (std::size_t k = 0; k < io::line_count; ++k)
    for (const io::Level level : {io::Level::low, io::Level::high, io::Level::released})
      turns_on_[k][static_cast<std::size_t>(level)] = turned_on(lines_[k], level);
  find_pins();
}

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
    gates_faulty_ = std::any_of(wires_.begin(), wires_.begin() + io::gate_count,
                                [](const Wire& gate) { return gate.faulty; });
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

}  // namespace stillrotor
