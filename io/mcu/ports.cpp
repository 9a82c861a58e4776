#include "io/mcu/ports.hpp"

#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {
namespace {

// PIN, DDR, PORT of each port follow each other.
constexpr unsigned registers_each = 3;
unsigned port_of(const PinLayout& layout, Address a) {
  unsigned index = 0;
  while (a < layout.registers[index] || a >= layout.registers[index] + registers_each) ++index;
  return index;
}

// A changed pin passes the PIN flip-flop and two more before its flag stands (datasheet, External
// Interrupts, figure Timing of Pin Change Interrupts; from memory).
constexpr Cycle flag_after_visible = 2;

constexpr unsigned port_d = 2;

constexpr std::uint8_t with(std::uint8_t bits, std::uint8_t mask, bool set) {
  return static_cast<std::uint8_t>(set ? bits | mask : bits & ~mask);
}

}  // namespace

Ports::Ports(const Part& part, Core& core, Interrupts& interrupts, Outside& outside,
             const std::array<std::optional<Pin>, line_count>& pins)
    : layout_(part.pins),
      external_(part.external),
      core_(core),
      interrupts_(interrupts),
      outside_(outside) {
  for (std::size_t i = 0; i < line_count; ++i) {
    if (!pins[i]) continue;
    const LineId line{static_cast<std::uint16_t>(i)};
    Port& port = ports_[pins[i]->port];
    const auto mask = static_cast<std::uint8_t>(1u << pins[i]->bit);
    port.line[pins[i]->bit] = line;
    (io::from_controller(line) ? port.outputs : port.inputs) |= mask;
    if (io::from_controller(line)) outputs_.push_back({line, *pins[i], Level::released});
  }
  for (const Address first : layout_.registers) {
    for (unsigned kind = 0; kind < registers_each; ++kind)
      core.on_write<&Ports::write>(static_cast<Address>(first + kind), this);
    core.on_read<&Ports::read_pins>(first, this);
  }
  core.on_write<&Ports::write_external_mask>(external_.mask, this);
}

void Ports::reset(Cycle at) noexcept {
  for (unsigned i = 0; i < port_count; ++i) {
    Port& p = ports_[i];
    p.direction = p.out = p.compare_connected = p.compare_high = 0;
    for (unsigned kind = 0; kind < registers_each; ++kind)
      core_.reg(static_cast<Address>(layout_.registers[i] + kind)) = 0;
    refresh(i, at, at);
    p.before = p.level;
    p.changed = 0;
  }
}

void Ports::announce(Cycle at) noexcept {
  for (const Output& output : outputs_) outside_.drive(output.line, output.driven, at);
}

void Ports::read_wires(Cycle at) noexcept {
  for (unsigned i = 0; i < port_count; ++i) {
    Port& p = ports_[i];
    for (unsigned bit = 0; bit < 8; ++bit) {
      const auto mask = static_cast<std::uint8_t>(1u << bit);
      if (!(p.inputs & mask)) continue;
      set_wire(p, mask, outside_.level(p.line[bit], at));
    }
    refresh(i, at, at);
    p.before = p.level;
    p.changed = 0;
  }
}

void Ports::deliver(const Edge& edge) noexcept {
  for (unsigned i = 0; i < port_count; ++i) {
    Port& p = ports_[i];
    for (unsigned bit = 0; bit < 8; ++bit) {
      const auto mask = static_cast<std::uint8_t>(1u << bit);
      if (!(p.inputs & mask) || p.line[bit] != edge.line) continue;
      set_wire(p, mask, edge.level);
      refresh(i, core_.now(), outside_.clock().synchronised(edge.at));
    }
  }
}

void Ports::compare_output(Pin pin, bool connected, bool high, Cycle at) noexcept {
  Port& p = ports_[pin.port];
  const auto mask = static_cast<std::uint8_t>(1u << pin.bit);
  p.compare_connected = with(p.compare_connected, mask, connected);
  p.compare_high = with(p.compare_high, mask, high);
  refresh(pin.port, at, at + 1);
}

void Ports::write(const Write& write) noexcept {
  const unsigned index = port_of(layout_, write.address);
  const Address first = layout_.registers[index];
  Port& p = ports_[index];
  switch (write.address - first) {
    case 0:
      if (layout_.writing_toggles) p.out ^= write.ones();
      break;
    case 1:
      p.direction = write.value;
      break;
    default:
      p.out = write.value;
      break;
  }
  core_.reg(static_cast<Address>(first + 1)) = p.direction;
  core_.reg(static_cast<Address>(first + 2)) = p.out;
  refresh(index, write.at, write.at + 1);
}

std::uint8_t Ports::read_pins(Address address, Cycle at) noexcept {
  const Port& p = ports_[port_of(layout_, address)];
  return at < p.visible_from ? p.before : p.level;
}

void Ports::pull_ups_changed(Cycle at) noexcept {
  for (unsigned i = 0; i < port_count; ++i) refresh(i, at, at + 1);
}

void Ports::write_external_mask(const Write& write) noexcept {
  interrupts_.write_mask(write);
  senses_changed();
}

void Ports::senses_changed() noexcept {
  for (unsigned n = 0; n < 2; ++n)
    if ((core_.reg(external_.mask) & external_.in[n]) &&
        (core_.reg(external_.sense) >> (2 * n) & 3) == 0)
      core_.fail("The firmware enables the low-level mode of INT" + std::to_string(n) +
                 ", which is not modelled, " + core_.where() + ". Use an edge mode (ISC bits).");
}

void Ports::refresh(unsigned index, Cycle at, Cycle visible_from) noexcept {
  Port& p = ports_[index];
  const std::uint8_t pulls =
      core_.reg(layout_.pull_up_disable.at) & layout_.pull_up_disable.mask ? 0 : p.out;
  const auto as_output = (p.compare_connected & p.compare_high) | (~p.compare_connected & p.out);
  const auto as_input = (p.wire_driven & p.wire_high) | (~p.wire_driven & pulls);
  const auto level =
      static_cast<std::uint8_t>((p.direction & as_output) | (~p.direction & as_input));
  if (p.outputs != 0) drive_outputs(index, at);
  const auto changed = static_cast<std::uint8_t>(level ^ p.level);
  if (changed == 0) return;
  if (at >= p.visible_from) p.before = p.level;
  p.visible_from = visible_from;
  p.level = level;
  if (!(changed & watched(index))) return;
  const bool check_is_due = p.changed != 0;
  p.changed |= changed;
  if (check_is_due) return;
  const Cycle flag_at = visible_from + flag_after_visible;
  switch (index) {
    case 0:
      core_.schedule<&Ports::on_change<0>>(flag_at, this);
      break;
    case 1:
      core_.schedule<&Ports::on_change<1>>(flag_at, this);
      break;
    default:
      core_.schedule<&Ports::on_change<2>>(flag_at, this);
      break;
  }
}

void Ports::set_wire(Port& p, std::uint8_t mask, Level level) noexcept {
  p.wire_driven = with(p.wire_driven, mask, level != Level::released);
  p.wire_high = with(p.wire_high, mask, level == Level::high);
}

void Ports::drive_outputs(unsigned index, Cycle at) noexcept {
  const Port& p = ports_[index];
  const auto as_output = (p.compare_connected & p.compare_high) | (~p.compare_connected & p.out);
  for (Output& output : outputs_) {
    if (output.pin.port != index) continue;
    const unsigned bit = output.pin.bit;
    const Level level = !(p.direction >> bit & 1) ? Level::released
                        : as_output >> bit & 1    ? Level::high
                                                  : Level::low;
    if (level == output.driven) continue;
    output.driven = level;
    outside_.drive(output.line, level, at);
    core_.request_stop();
  }
}

/// Pins whose changes raise a flag: those in PCMSKn, INT0 and INT1 in an edge mode, and that of the
/// input capture where the bench drives it or its interrupt is on.
std::uint8_t Ports::watched(unsigned index) const noexcept {
  const Address first_mask = external_.change.first_mask;
  std::uint8_t mask =
      first_mask == no_register ? 0 : core_.reg(static_cast<Address>(first_mask + index));
  if (index == port_d) {
    const std::uint8_t sense = core_.reg(external_.sense);
    if (sense & 0x03) mask |= 0x04;
    if (sense & 0x0c) mask |= 0x08;
  }
  if (const Pin pin = capture_->capture_pin(); pin.port == index) {
    const auto bit = static_cast<std::uint8_t>(1u << pin.bit);
    if ((ports_[index].inputs & bit) || capture_->captures_by_interrupt()) mask |= bit;
  }
  return mask;
}

void Ports::check_interrupts(unsigned index, Cycle at) noexcept {
  Port& p = ports_[index];
  const std::uint8_t changed = p.changed;
  p.changed = 0;
  if (const Address first_mask = external_.change.first_mask;
      first_mask != no_register &&
      (changed & core_.reg(static_cast<Address>(first_mask + index))) != 0)
    interrupts_.raise(interrupts_.vector(external_.change.first_vector + index));
  if (const Pin pin = capture_->capture_pin(); pin.port == index && (changed >> pin.bit & 1))
    capture_->capture_edge(is_high(pin), at);
  if (index != port_d) return;
  for (unsigned n = 0; n < 2; ++n) {
    const unsigned bit = 2 + n;
    const unsigned sense = core_.reg(external_.sense) >> (2 * n) & 3;
    const bool rose = p.level >> bit & 1;
    if ((changed >> bit & 1) && (sense == 1 || (sense == 2 && !rose) || (sense == 3 && rose)))
      interrupts_.raise(interrupts_.vector(external_.first_vector + n));
  }
}

}  // namespace stillrotor::io::mcu
