// Timers, converters and DMA of a chip, wired to each other, to the pins and to the processor.
//
// Within a chip signals take no time here: a trigger acts in the cycle in which it is given.
// RT     safe after construction.
#pragma once

#include <deque>
#include <functional>
#include <optional>
#include <span>

#include "io/mcu/cortexm/adc/adc.hpp"
#include "io/mcu/cortexm/clock_tree.hpp"
#include "io/mcu/cortexm/dma/dma.hpp"
#include "io/mcu/cortexm/parts/motor.hpp"
#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

/// The analog side of the chip.
class AnalogPins {
 public:
  virtual ~AnalogPins() = default;
  /// At that pin, as a share of the converters' reference.
  virtual double share(PinId, Cycle) noexcept = 0;
};

class MotorBlocks final : public PinFollower, public ClockFollower, AdcListener {
 public:
  using NotModelled = std::function<void(std::string_view block, std::string_view what, Cycle)>;
  MotorBlocks(const MotorPart&, Core&, const ClockTree&, std::deque<Port>&, AnalogPins&, LateEdges&,
              NotModelled);
  ~MotorBlocks() override;
  void reset(Cycle at) noexcept;
  /// One item by that stream, for a block that is not of these; as Dma::request().
  std::optional<Word> carry(unsigned controller, unsigned stream, unsigned channel,
                            Cycle at) noexcept;
  /// Called when a stream has been enabled.
  std::function<void(Cycle)> stream_enabled = [](Cycle) {};

  /// That pin's alternate function is an output of a timer's.
  bool drives(PinId) const noexcept;
  /// Of that port, those that a timer listens to.
  const Pins& heard(std::size_t port) const noexcept { return heard_[port]; }
  /// Of an edge there nobody notices anything before a timer's register is looked at.
  bool keeps_edges(PinId) const noexcept;
  /// Of these pins edges may be on their way, and of no other.
  void hear_late(std::span<const PinId>) noexcept;
  void seen(PinId, bool high, Cycle) noexcept override;
  void configured(PinId, Cycle) noexcept override;
  void clock_changed(Cycle) noexcept override;

 private:
  class Unit;     // a timer, and who listens to it
  class Carrier;  // a DMA controller likewise

  unsigned sample(unsigned converter, unsigned channel, Cycle) noexcept override;
  void interrupt(bool high, Cycle) noexcept override;
  bool request(unsigned converter, Cycle) noexcept override;
  void not_modelled(const char* what, Cycle) noexcept override;
  void sources_changed() noexcept override;

  void hear(PinId id, bool on) noexcept {
    heard_[id.port] = (heard_[id.port] & ~(Pins{1} << id.number)) | Pins{on} << id.number;
  }
  void set_vector(unsigned vector, bool high) noexcept;
  const TimerWire* wire_of(PinId) const noexcept;
  Unit* unit(unsigned number) noexcept;
  std::optional<Word> request(const RequestWire&, Cycle) noexcept;

  const MotorPart& part_;
  Core& core_;
  const ClockTree& clocks_;
  std::deque<Port>& ports_;
  AnalogPins& analog_;
  LateEdges& late_edges_;
  NotModelled not_modelled_;
  std::array<std::uint8_t, 96> raised_{};  // sources that hold a vector up
  std::array<std::array<std::vector<const TimerWire*>, 16>, 9> at_pin_;
  struct Ear {
    Timer* timer = nullptr;
    TimerPin signal{};
  };
  std::array<std::array<Ear, 16>, 9> ears_{};  // as the pins are configured
  std::array<Pins, 9> heard_{};
  std::array<std::array<std::optional<PinId>, 16>, 3> analog_pins_;  // by converter and channel
  Adc adc_;
  std::deque<Unit> units_;
  std::deque<Carrier> carriers_;
};

}  // namespace stillrotor::io::cortexm
