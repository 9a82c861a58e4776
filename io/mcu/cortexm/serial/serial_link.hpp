// What a serial block has around it on the chip: its pins, the carriers of its items, its vectors.
//
// A signal stands at every pin that has its alternate function. What a block drives is remembered
// for pins that are given to it later.
// RT     safe after construction.
#pragma once

#include <array>
#include <deque>
#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "io/mcu/cortexm/exceptions.hpp"
#include "io/mcu/cortexm/parts/serial.hpp"
#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

/// One item at that stream's channel: how many are left behind it; nullopt: nobody carries.
using CarryItem = std::function<std::optional<Word>(const SerialRequest&, Cycle)>;
/// A block was asked for what its model does not do.
using Undone = std::function<void(std::string_view block, std::string_view what)>;

class SerialLink {
 public:
  SerialLink(const SerialPart& part, Word block, const char* name, std::deque<Port>& ports,
             Exceptions& exceptions, CarryItem carry, Undone undone)
      : name_(name),
        ports_(ports),
        exceptions_(exceptions),
        carry_(std::move(carry)),
        undone_(std::move(undone)) {
    for (const SerialWire& w : part.wires)
      if (w.block == block) wires_.push_back(&w);
    for (const SerialRequest& r : part.requests)
      if (r.block == block) requests_.push_back(&r);
    levels_.fill(Level::released);
  }

  void drive(SerialPin signal, Level level, Cycle at) noexcept {
    levels_[static_cast<unsigned>(signal)] = level;
    for (const SerialWire* w : wires_)
      if (w->signal == signal && stands_at(*w)) port(*w).set_alternate(w->pin, level, at);
  }
  bool is_at_a_pin(SerialPin signal) const noexcept {
    for (const SerialWire* w : wires_)
      if (w->signal == signal && stands_at(*w)) return true;
    return false;
  }
  bool reads_high(SerialPin signal) const noexcept {
    for (const SerialWire* w : wires_)
      if (w->signal == signal && stands_at(*w)) return port(*w).reads_high(w->pin);
    return false;
  }
  /// For a wire with a pull-up on the board: somebody pulls it down.
  bool is_pulled_down(SerialPin signal) const noexcept {
    for (const SerialWire* w : wires_)
      if (w->signal == signal && stands_at(*w) &&
          (port(*w).driven(w->pin) == Level::low || port(*w).outside(w->pin) == Level::low))
        return true;
    return false;
  }
  /// The pin's function may have changed.
  void configured(PinId id, Cycle at) noexcept {
    for (const SerialWire* w : wires_)
      if (w->port == 'A' + id.port && w->pin == id.number && stands_at(*w))
        port(*w).set_alternate(w->pin, levels_[static_cast<unsigned>(w->signal)], at);
  }

  std::optional<Word> carry(bool transmits, Cycle at) noexcept {
    for (const SerialRequest* r : requests_)
      if (r->transmits == transmits)
        if (const std::optional<Word> left = carry_(*r, at)) return left;
    return std::nullopt;
  }
  void interrupt(unsigned vector, bool high) noexcept { exceptions_.set_line(vector, high); }
  void undone(std::string_view what) { undone_(name_, what); }

 private:
  Port& port(const SerialWire& w) const noexcept {
    return ports_[static_cast<unsigned>(w.port - 'A')];
  }
  bool stands_at(const SerialWire& w) const noexcept {
    return port(w).is_alternate(w.pin) && port(w).alternate_function(w.pin) == w.function;
  }
  const char* name_;
  std::deque<Port>& ports_;
  Exceptions& exceptions_;
  CarryItem carry_;
  Undone undone_;
  std::vector<const SerialWire*> wires_;
  std::vector<const SerialRequest*> requests_;
  std::array<Level, 4> levels_{};
};

}  // namespace stillrotor::io::cortexm
