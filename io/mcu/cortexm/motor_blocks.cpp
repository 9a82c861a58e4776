#include "io/mcu/cortexm/motor_blocks.hpp"

#include <fmt/core.h>

#include <algorithm>

namespace stillrotor::io::cortexm {
namespace {

bool is_output(TimerPin signal) { return signal <= TimerPin::complement3; }
bool is_complement(TimerPin signal) {
  return signal >= TimerPin::complement1 && signal <= TimerPin::complement3;
}
unsigned channel_of(TimerPin signal) {
  return static_cast<unsigned>(signal) -
         static_cast<unsigned>(is_complement(signal) ? TimerPin::complement1 : TimerPin::channel1);
}
// Within the chip, as shares of 3.3 V: the temperature sensor at 25 degrees, the reference
// (datasheet, typical, from memory), half the battery's pin.
constexpr double temperature_share = 0.76 / 3.3, reference_share = 1.21 / 3.3, battery_share = 0.5;

}  // namespace

class MotorBlocks::Unit final : public TimerListener {
 public:
  Unit(MotorBlocks& owner, const TimerBlock& of)
      : owner_(owner), block(of), timer(of.layout, owner.core_.scheduler(), *this) {
    for (const Group group : {Group::injected, Group::regular})
      for (const ConverterTrigger& t :
           group == Group::injected ? owner.part_.injected : owner.part_.regular)
        if (t.timer == of.layout.number) starts_[t.channel].push_back({group, t.code});
  }

  void pad(unsigned channel, bool complementary, Level level, Cycle at) noexcept override {
    const Pad& pad = pads_[2 * channel + complementary];
    for (const Place* p = pad.at.data(); p != pad.end; ++p)
      p->port->set_alternate(p->pin, level, at);
  }
  /// The pin of that wire, an output, has been configured.
  void connect(const TimerWire& w, Port& port) noexcept {
    Pad& pad = pads_[2 * channel_of(w.signal) + is_complement(w.signal)];
    const auto is_here = [&](const Place& p) { return p.port == &port && p.pin == w.pin; };
    pad.end = std::remove_if(pad.at.data(), pad.end, is_here);
    if (port.has_function(w.pin, w.function)) *pad.end++ = {&port, w.pin};
  }
  void interrupt(TimerInterrupt line, bool high, Cycle) noexcept override {
    owner_.set_vector(block.vectors[static_cast<unsigned>(line)], high);
  }
  void request(TimerRequest r, Cycle at) noexcept override {
    for (const RequestWire& w : owner_.part_.requests)
      if (w.timer == block.layout.number && w.request == r) owner_.request(w, at);
  }
  void trigger(bool high, Cycle at) noexcept override {
    for (Unit& other : owner_.units_)
      for (unsigned n = 0; n < other.block.masters.size(); ++n)
        if (other.block.masters[n] == block.layout.number)
          other.timer.internal_trigger(n, high, at);
    start_converters(0, high, at);
  }
  void channel_signal(unsigned channel, bool high, Cycle at) noexcept override {
    start_converters(channel + 1, high, at);
  }
  /// Of its channels' signals only those that start converters are told.
  void tell_awaited_signals() noexcept {
    unsigned awaited = 0;
    for (unsigned channel = 0; channel < 4; ++channel)
      for (const Start& s : starts_[channel + 1])
        for (const bool high : {false, true})
          awaited |= unsigned{owner_.adc_.awaits(s.group, s.code, high)} << channel;
    timer.tell_signals(awaited);
  }
  void needs_pins(bool needs) noexcept override {
    for (const TimerWire& w : owner_.part_.wires) {
      if (w.timer != block.layout.number || w.signal > TimerPin::channel4) continue;
      const PinId id{static_cast<std::uint8_t>(w.port - 'A'), w.pin};
      const Port& port = owner_.ports_[id.port];
      if (!port.has_function(w.pin, w.function)) continue;
      owner_.hear(id, needs);
      if (needs) timer.set_pin(channel_of(w.signal), port.reads_high(w.pin));
    }
  }
  void looked_at(Cycle at) noexcept override { owner_.late_edges_.catch_up(at); }
  void changes(Cycle at) noexcept override { owner_.late_edges_.listeners_change(at); }
  void not_modelled(const char* what, Cycle at) noexcept override {
    owner_.not_modelled_(block.name, what, at);
  }

 private:
  struct Start {
    Group group;
    std::uint8_t code;
  };
  void start_converters(unsigned signal, bool high, Cycle at) noexcept {
    for (const Start& s : starts_[signal]) owner_.adc_.trigger(s.group, s.code, high, at);
  }
  MotorBlocks& owner_;
  struct Place {
    Port* port;
    std::uint8_t pin;
  };
  /// The pins that are now configured for it.
  struct alignas(64) Pad {
    std::array<Place, 3> at{};  // no part has more
    Place* end = at.data();
  };
  std::array<Pad, 8> pads_;                   // a channel's, its complement's, the next one's
  std::array<std::vector<Start>, 5> starts_;  // by TRGO, CC1 to CC4

 public:
  const TimerBlock& block;
  Timer timer;  // tells this what it does, so it comes last
};

class MotorBlocks::Carrier final : public DmaListener {
 public:
  Carrier(MotorBlocks& owner, unsigned index)
      : dma(owner.core_.scheduler(), *this, index == 1), owner_(owner), index_(index) {}
  bool load(Word address, unsigned size, Word& value, Cycle at) noexcept override {
    return owner_.core_.bus().read(address, size, value, at, true);
  }
  bool store(Word address, unsigned size, Word value, Cycle at) noexcept override {
    return owner_.core_.bus().write(address, size, value, at, true);
  }
  void interrupt(unsigned stream, bool high, Cycle) noexcept override {
    owner_.set_vector(owner_.part_.dma_vectors[index_][stream], high);
  }
  void enabled(unsigned, Cycle at) noexcept override { owner_.stream_enabled(at); }
  Dma dma;

 private:
  MotorBlocks& owner_;
  unsigned index_;
};

MotorBlocks::MotorBlocks(const MotorPart& part, Core& core, const ClockTree& clocks,
                         std::deque<Port>& ports, AnalogPins& analog, LateEdges& late_edges,
                         NotModelled not_modelled)
    : part_(part),
      core_(core),
      clocks_(clocks),
      ports_(ports),
      analog_(analog),
      late_edges_(late_edges),
      not_modelled_(std::move(not_modelled)),
      adc_(core.scheduler(), *this) {
  for (const TimerWire& w : part.wires)
    at_pin_[static_cast<unsigned>(w.port - 'A')][w.pin].push_back(&w);
  for (const ConverterInput& in : part.inputs)
    for (unsigned converter = 0; converter < analog_pins_.size(); ++converter)
      if (in.converters >> converter & 1)
        analog_pins_[converter][in.channel] = {static_cast<std::uint8_t>(in.port - 'A'), in.pin};
  constexpr Word block = 0x400;
  for (const TimerBlock& t : part.timers)
    core.bus().attach(t.base, block, units_.emplace_back(*this, t).timer, t.name);
  // Each converter has its own clock, and so its own window; then the registers in common.
  constexpr const char* converters[] = {"ADC1", "ADC2", "ADC3", "ADC"};
  for (Word i = 0; i < std::size(converters); ++i)
    core.bus().attach(part.converters + 0x100 * i, 0x100, adc_, converters[i], 0x100 * i);
  for (unsigned i = 0; i < part.dma.size(); ++i)
    core.bus().attach(part.dma[i], block, carriers_.emplace_back(*this, i).dma,
                      i == 0 ? "DMA1" : "DMA2");
  clock_changed(0);
}

MotorBlocks::~MotorBlocks() = default;

void MotorBlocks::reset(Cycle at) noexcept {
  for (Unit& u : units_) u.timer.reset(at);
  adc_.reset(at);
  for (Carrier& c : carriers_) c.dma.reset(at);
  clock_changed(at);
}

/// Timers run twice as fast as their bus where that is divided.
void MotorBlocks::clock_changed(Cycle at) noexcept {
  for (Unit& u : units_) {
    const unsigned bus = clocks_.bus_divider(u.block.fast);
    u.timer.set_clock(bus == 1 ? 1 : bus / 2, at);
  }
  adc_.set_bus_clock(clocks_.bus_divider(true), at);
}

// --- pins -----------------------------------------------------------------------------------

const TimerWire* MotorBlocks::wire_of(PinId id) const noexcept {
  const Port& port = ports_[id.port];
  if (!port.is_alternate(id.number)) return nullptr;
  const unsigned function = port.alternate_function(id.number);
  for (const TimerWire* w : at_pin_[id.port][id.number])
    if (w->function == function) return w;
  return nullptr;
}

bool MotorBlocks::drives(PinId id) const noexcept {
  const TimerWire* const wire = wire_of(id);
  return wire != nullptr && is_output(wire->signal);
}

MotorBlocks::Unit* MotorBlocks::unit(unsigned number) noexcept {
  for (Unit& u : units_)
    if (u.block.layout.number == number) return &u;
  return nullptr;
}

bool MotorBlocks::keeps_edges(PinId id) const noexcept {
  if (!(heard_[id.port] >> id.number & 1)) return true;
  const Ear& ear = ears_[id.port][id.number];
  return ear.signal <= TimerPin::channel4 && ear.timer->keeps_edges();
}

void MotorBlocks::hear_late(std::span<const PinId> pins) noexcept {
  for (Unit& u : units_) u.timer.hear_late(false);
  for (const PinId id : pins)
    if (Timer* timer = ears_[id.port][id.number].timer) timer->hear_late(true);
}

void MotorBlocks::seen(PinId id, bool high, Cycle at) noexcept {
  const Ear& ear = ears_[id.port][id.number];
  if (ear.signal == TimerPin::stop)
    ear.timer->break_input(high, at);
  else if (ear.signal == TimerPin::trigger)
    ear.timer->external_trigger(high, at);
  else
    ear.timer->input(channel_of(ear.signal), high, at);
}

/// The pin's mode or function may have changed.
void MotorBlocks::configured(PinId id, Cycle at) noexcept {
  Port& port = ports_[id.port];
  const TimerWire* wire = wire_of(id);
  hear(id, false);
  for (const TimerWire* w : at_pin_[id.port][id.number])
    if (is_output(w->signal)) unit(w->timer)->connect(*w, port);
  if (wire == nullptr) {
    port.set_alternate(id.number, Level::released, at);
    return;
  }
  Unit& u = *unit(wire->timer);
  ears_[id.port][id.number] = {&u.timer, wire->signal};
  if (is_output(wire->signal)) {
    const Pads pads = u.timer.pads(channel_of(wire->signal));
    port.set_alternate(id.number, pads[is_complement(wire->signal)], at);
  }
  if (is_complement(wire->signal)) return;
  hear(id, !is_output(wire->signal) || u.timer.needs_pins());
  seen(id, port.reads_high(id.number), at);
}

// --- wires within the chip ------------------------------------------------------------------

/// Several sources may stand at one vector.
void MotorBlocks::set_vector(unsigned vector, bool high) noexcept {
  raised_[vector] = static_cast<std::uint8_t>(raised_[vector] + (high ? 1 : -1));
  core_.exceptions().set_line(vector, raised_[vector] != 0);
}

unsigned MotorBlocks::sample(unsigned converter, unsigned channel, Cycle at) noexcept {
  double share = 0.0;
  if (channel >= 16) {
    const double within[] = {temperature_share, reference_share, battery_share};
    if (converter == 0 && channel <= 18) share = within[channel - 16];
  } else if (const auto& pin = analog_pins_[converter][channel]) {
    share = analog_.share(*pin, at);
  }
  // Ideal: code k from k - 1/2 to k + 1/2 of a step.
  return static_cast<unsigned>(std::clamp(share * 4096.0 + 0.5, 0.0, 4095.0));
}

void MotorBlocks::sources_changed() noexcept {
  for (Unit& u : units_) u.tell_awaited_signals();
}

void MotorBlocks::interrupt(bool high, Cycle) noexcept {
  set_vector(part_.converters_vector, high);
}

std::optional<Word> MotorBlocks::carry(unsigned controller, unsigned stream, unsigned channel,
                                       Cycle at) noexcept {
  return carriers_[controller].dma.request(stream, channel, at);
}
std::optional<Word> MotorBlocks::request(const RequestWire& w, Cycle at) noexcept {
  return carry(w.controller, w.stream, w.channel, at);
}

bool MotorBlocks::request(unsigned converter, Cycle at) noexcept {
  bool last = false;
  for (const RequestWire& w : part_.requests)
    if (w.timer == 0 && w.converter == converter) last |= request(w, at) == Word{0};
  return last;
}

void MotorBlocks::not_modelled(const char* what, Cycle at) noexcept {
  not_modelled_("ADC", what, at);
}

}  // namespace stillrotor::io::cortexm
